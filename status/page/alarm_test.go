package page

import (
	"strings"
	"testing"
	"time"

	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// TestAlarm: one that was chosen comes when the answer is lost, is acknowledged, comes
// again when it is lost again, and keeps silent when silenced.
func TestAlarm(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	b.Size(1280, 800)
	b.Go(f.server.URL)
	b.Wait(alive+` && !!document.getElementById("alarm-choice")`, patience)
	const none, rings = `!document.getElementById("alarm")`, `!!document.getElementById("alarm")`
	become(b, f, "outside")
	if !pagetest.Eval[bool](b, none) {
		t.Error("an alarm that nobody chose")
	}
	become(b, f, "within")
	pagetest.Eval[bool](b, `document.getElementById("alarm-choice").click(), true`)
	become(b, f, "ending")
	time.Sleep(300 * time.Millisecond)
	if !pagetest.Eval[bool](b, none) {
		t.Error("an answer that is still good rings")
	}
	become(b, f, "borderline")
	b.Wait(rings, patience)
	if got := b.Text("alarm"); !strings.Contains(got, "Not sure. Do not key up.") {
		t.Errorf("the alarm says %q", got)
	}
	b.Shot("alarm")
	pagetest.Eval[bool](b, `document.getElementById("alarm-seen").click(), true`)
	time.Sleep(1500 * time.Millisecond)
	if !pagetest.Eval[bool](b, none) {
		t.Error("acknowledged, it comes again without a new loss")
	}
	become(b, f, "within")
	become(b, f, "gone")
	b.Wait(rings, patience)
	become(b, f, "within")
	b.Wait(none, patience) // good again
	become(b, f, "outside")
	b.Wait(rings, patience)
	pagetest.Eval[bool](b, `document.getElementById("alarm-hush").click(), true`)
	become(b, f, "within")
	become(b, f, "outside")
	time.Sleep(500 * time.Millisecond)
	if !pagetest.Eval[bool](b, none) {
		t.Error("silenced, it rings")
	}
	clean(t, b)
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
	time.Sleep(2500 * time.Millisecond)
	if got := pagetest.Eval[[]string](b, `spoken`); len(got) != 0 {
		t.Errorf("a steady state says %q", got)
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
