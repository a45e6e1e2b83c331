package page

import (
	"strings"
	"testing"
	"time"

	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// countGone counts how often the page lost contact: a busy machine may lose it unasked.
const countGone = `window.lost = 0; addEventListener("DOMContentLoaded", () => { const root = document.documentElement; let was = root.dataset.state;
	new MutationObserver(() => { if (root.dataset.state !== was && root.dataset.state === "gone") lost++; was = root.dataset.state; }).observe(root, {attributes: true, attributeFilter: ["data-state"]}); });`

// TestAlarm: one that was chosen comes when the answer is lost, is acknowledged, comes
// again when it is lost again, and keeps silent when silenced.
func TestAlarm(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	b.Size(1280, 800)
	b.Before(countGone)
	for range 4 {
		faults := alarmStory(b, f)
		if pagetest.Eval[int](b, `lost`) > 1 {
			continue // besides the loss that belongs to the story
		}
		for _, fault := range faults {
			t.Error(fault)
		}
		clean(t, b)
		return
	}
	t.Skip("this machine is too busy to tell")
}

func alarmStory(b *pagetest.Browser, f *fake) (faults []string) {
	become0 := func(state string) { become(b, f, state); time.Sleep(400 * time.Millisecond) }
	const rings = `!!document.getElementById("alarm")`
	want := func(is bool, what string) {
		if pagetest.Eval[bool](b, rings) != is {
			faults = append(faults, what)
		}
	}
	press := func(id string) { pagetest.Eval[bool](b, `document.getElementById("`+id+`")?.click(), true`) }
	f.still.Store(false)
	f.edit(func(s *status.Snapshot) { *s = good() })
	b.Go(f.server.URL)
	b.Wait(alive+` && !!document.getElementById("alarm-choice")`, patience)
	pagetest.Eval[bool](b, `localStorage.clear(), true`)
	b.Go(f.server.URL)
	b.Wait(alive+` && !!document.getElementById("alarm-choice")`, patience)
	become0("outside")
	want(false, "an alarm that nobody chose")
	become0("within")
	press("alarm-choice")
	become0("ending")
	want(false, "an answer that is still good rings")
	become0("borderline")
	want(true, "the loss does not ring")
	if got := pagetest.Eval[string](b, `document.getElementById("alarm")?.innerText ?? ""`); !strings.Contains(got, "Not sure. Do not key up.") {
		faults = append(faults, "the alarm says "+got)
	}
	b.Shot("alarm")
	press("alarm-seen")
	time.Sleep(1500 * time.Millisecond)
	want(false, "acknowledged, it comes again without a new loss")
	become0("within")
	become0("gone")
	want(true, "a lost contact does not ring")
	become0("within")
	want(false, "good again, it still rings")
	become0("outside")
	want(true, "lost again, it does not ring")
	press("alarm-hush")
	become0("within")
	become0("outside")
	want(false, "silenced, it rings")
	return faults
}

// TestWorseIsSaidAtOnce: who cannot see hears a worsening at once, anything else in turn, and
// of a steady state nothing.
func TestWorseIsSaidAtOnce(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, restless)
	b := open(t)
	b.Before(`window.spoken = []; addEventListener("DOMContentLoaded", () => { for (const id of ["told", "warned"])
		new MutationObserver(() => { const text = document.getElementById(id).textContent; if (text) spoken.push(id + ": " + text); }).observe(document.getElementById(id), {childList: true}); });`)
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	for try := 0; ; try++ { // a busy machine may lose contact, which is said
		pagetest.Eval[bool](b, `spoken = [], true`)
		time.Sleep(2500 * time.Millisecond)
		got := pagetest.Eval[[]string](b, `spoken`)
		if len(got) == 0 {
			break
		}
		if try == 4 {
			t.Fatalf("a steady state says %q", got)
		}
	}
	become(b, f, "outside")
	b.Wait(`spoken.at(-1) === "warned: FT8: Clock wrong. Do not key up."`, patience)
	become(b, f, "within")
	b.Wait(`spoken.at(-1).startsWith("told: FT8: Clock good.")`, patience)
}

// TestModeFollowsTheStation: a page that asked for no mode shows the one in use.
func TestModeFollowsTheStation(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	b.Go(f.server.URL)
	b.Wait(alive+` && document.title.startsWith("FT8")`, patience)
	f.edit(func(s *status.Snapshot) { s.Modes[0].InUse, s.Modes[1].InUse = false, true })
	b.Wait(`document.title.startsWith("FT4") && document.querySelector("#ring svg").dataset.period === "7.5"`, patience)
}
