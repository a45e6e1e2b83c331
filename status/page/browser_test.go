package page

import (
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// patience is how long a test waits for what comes at once on an idle machine.
const patience = 3 * time.Minute

// open is a browser that minds breaches of the page's own security policy, and
// faults of its script.
func open(t *testing.T) *pagetest.Browser {
	b := pagetest.Open(t)
	b.Before(`window.breaches = [];
		addEventListener("securitypolicyviolation", (e) => { breaches.push(e.violatedDirective + " " + e.blockedURI); });
		addEventListener("error", (e) => { breaches.push(e.message); });
		addEventListener("unhandledrejection", (e) => { breaches.push(String(e.reason)); });`)
	return b
}

// clean reports what went wrong within the page.
func clean(t *testing.T, b *pagetest.Browser) {
	t.Helper()
	for _, fault := range pagetest.Eval[[]string](b, `breaches.concat([...document.querySelectorAll("[id]")].map(e => e.id).filter((id, i, all) => all.indexOf(id) !== i))`) {
		t.Errorf("the page: %s", fault)
	}
}

const alive = `document.documentElement.dataset.state !== "gone" && document.getElementById("answer").checkVisibility()`

func TestGlance(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	b.Go(f.server.URL)
	b.Wait(`document.getElementById("count").textContent.includes("next period in")`, patience)
	for id, want := range map[string]string{"head": "Clock\ngood", "place": "FG69gu", "lamps": "contradicts the rest", "modes": "FT4"} {
		if got := b.Text(id); !strings.Contains(got, want) {
			t.Errorf("%s: %q, want %q", id, got, want)
		}
	}
	// The station's own judged time, not this machine's, to the second: in 2031.
	station := func() time.Time { return begin.Add(time.Duration(f.now() - 1_000_000_000)).Time() }
	for try := 0; ; try++ { // a busy browser ticks late, now and then
		before := station()
		shown := pagetest.Eval[[]string](b, `[document.getElementById("date").textContent + " " + document.getElementById("utc").textContent, document.getElementById("left").textContent]`)
		after := station()
		at, err := time.Parse("Mon 2006-01-02 15:04:05", shown[0])
		if err == nil && before.Sub(at) <= 1300*time.Millisecond && at.Sub(after) <= 300*time.Millisecond && shown[1] == fmt.Sprint(15-at.Second()%15) {
			break
		}
		if try == 20 {
			t.Fatalf("the page shows %s, the station's time is %s to %s", shown, before, after)
		}
	}
	if got := b.Text("bound"); !strings.HasPrefix(got, "±\u00a0") || !strings.HasSuffix(got, "\u00a0s") {
		t.Errorf("beside UTC stands %q", got)
	}
	clean(t, b)
}

// TestMoreIsFetchedWhenLookedAt: what is below the glance comes when it is in sight.
func TestMoreIsFetchedWhenLookedAt(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	b.Before(`navigator.clipboard.writeText = async (text) => { window.copied = text; }`)
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	pagetest.Eval[bool](b, `document.getElementById("more").scrollIntoView(), true`)
	b.Wait(`!!document.getElementById("who")`, patience)
	for id, want := range map[string]string{"who": f.snap.Clock.Because, "aloud": "Foxtrot Golf", "facts": "Battery of the hardware clock", "sky": "11 used, 3 heard, 5 in view",
		"night": "good for 2 d 4 h", "events": "The time now comes from the receiver.", "budget": "Worst case"} {
		if got := b.Text(id); !strings.Contains(got, want) {
			t.Errorf("%s: %q, want %q", id, got, want)
		}
	}
	// A number is copied by a tap, and shown large on demand.
	pagetest.Eval[bool](b, `document.getElementById("a-locator-copy").click(), true`)
	b.Wait(`document.getElementById("a-locator-copy").textContent === "Copied" && copied === "FG69gu18et"`, patience)
	pagetest.Eval[bool](b, `document.getElementById("a-locator-large").click(), true`)
	b.Wait(`document.querySelector("dialog.large").innerText.includes("Foxtrot Golf, six nine")`, patience)
	b.Shot("large")
	clean(t, b)
}

// TestScreenAfterSleep: a device that slept wakes with an old page, whose own
// count of seconds stood still. The page is covered until it has compared clocks anew.
func TestScreenAfterSleep(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	k := newLink(t, address(f))
	b := open(t)
	b.Before(watchScreen)
	b.Before(`window.jump = 0; const now = Date.now; Date.now = () => now.call(Date) + window.jump;`)
	b.Go(k.url())
	b.Wait(alive, patience)
	k.set(fault{Lag: 200 * time.Millisecond}) // so that comparing takes its time
	at := pagetest.Eval[float64](b, `(window.jump = 3600e3, Date.now())`)
	b.Wait(fmt.Sprintf(`screenSays.some((n) => Number(n.split(" ")[0]) >= %.0f && n.endsWith(" nothing"))`, at), patience)
	b.Wait(alive, patience)
}

func TestModeByTap(t *testing.T) {
	t.Parallel()
	f := newFake(t, func(s *status.Snapshot) { s.Modes[1].Verdict = status.Borderline }, nil)
	b := open(t)
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	pagetest.Eval[bool](b, `document.getElementById("chip-FT4").click(), true`)
	b.Wait(`location.search === "?mode=FT4" && document.readyState === "complete" && document.getElementById("answer").innerText.includes("FT4")`, patience)
	b.Wait(`document.title === "FT4 Not sure – noonmark"`, patience)
	// The keyboard's place is kept when a part is replaced.
	pagetest.Eval[bool](b, `document.getElementById("chip-WSPR").focus(), true`)
	f.edit(func(s *status.Snapshot) { s.Modes[2].Verdict = status.Outside })
	b.Wait(`document.getElementById("chip-WSPR").textContent.includes("Clock wrong")`, patience)
	if got := pagetest.Eval[string](b, `document.activeElement.id`); got != "chip-WSPR" {
		t.Errorf("the focus went to %q", got)
	}
}

// TestThisDevicesClock shifts the browser's clock and has the page find it.
func TestThisDevicesClock(t *testing.T) {
	t.Parallel()
	f, _ := withHands(t)
	b := open(t)
	const fast = 1234 * time.Millisecond
	var shift time.Duration
	for tight := time.Duration(math.MaxInt64); tight > time.Millisecond; { // nobody came between the two clocks
		before := time.Now()
		local := f.now()
		if tight = time.Since(before); tight <= time.Millisecond {
			shift = begin.Add(time.Duration(local-1_000_000_000)).Time().Sub(before) + fast
		}
	}
	b.Before(fmt.Sprintf(`const now = Date.now; Date.now = () => now() + %d;`, shift.Milliseconds()))
	b.Go(f.server.URL)
	byHandOpen(b)
	bound := f.snap.Clock.BoundS.V
	// A round on a busy machine takes over a second and tells as little; a shorter one comes.
	b.Wait(fmt.Sprintf(`+document.getElementById("device")?.dataset.sure <= %g`, bound+0.5), patience)
	// At once: another round may come at any time.
	all := pagetest.Eval[[]string](b, `(({dataset, textContent}) => [dataset.offset, dataset.sure, textContent])(document.getElementById("device"))`)
	var got [2]float64
	for i := range got {
		var err error
		if got[i], err = strconv.ParseFloat(all[i], 64); err != nil {
			t.Fatal(err)
		}
	}
	if off, sure := got[0], got[1]; math.Abs(off-fast.Seconds()) > sure-bound+0.002 || sure < bound {
		t.Errorf("this device's clock is %s fast; the page says %.3f s, sure to %.3f s", fast, off, sure)
	}
	text, said := all[2], 0.0
	if _, err := fmt.Sscanf(text, "This device is %f s fast", &said); err != nil || math.Abs(said-got[0]) > 0.006 || !strings.Contains(text, "s fast, ± ") {
		t.Error(text)
	}
}

// TestWithoutScript: the page loads itself again; when the station hangs, the style sheet
// hides what would grow old; and nobody's PIN is wiped, for the field has a page of its own.
func TestWithoutScript(t *testing.T) {
	t.Parallel()
	f, _ := withHands(t)
	k := newLink(t, address(f))
	b := open(t)
	b.Scripts(false)
	b.Go(k.url())
	first := b.Text("utc")
	if got := b.Text("answer"); !strings.Contains(got, "Clock") {
		t.Error(got)
	}
	b.Wait(`document.getElementById("utc")?.innerText > "`+first+`"`, patience) // loaded again by itself
	b.Shot("no-script")
	k.set(fault{Frozen: true})
	begin := time.Now()
	for { // a question to the page would wait for the load that hangs: the picture does not
		if r, g, _, _ := b.Picture().At(20, 300).RGBA(); g <= r+0x1000 {
			break
		}
		if time.Since(begin) > patience {
			t.Fatal("a minute after the link froze the panel is still green")
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Logf("hidden %s after the link froze", time.Since(begin))
	b.Shot("no-script-frozen")
	k.set(fault{})
	if _, _, body := f.get("/"); strings.Contains(body[:strings.Index(body, "<template id=\"hand-kept\"")], `id="pin"`) {
		t.Error("a page that loads itself again holds the PIN's field")
	}
	if _, _, body := f.get("/hand"); !strings.Contains(body, `id="pin"`) || strings.Contains(body, `http-equiv="refresh"`) {
		t.Error("the page for what is done by hand has no PIN's field, or loads itself again")
	}
}

func TestCardFillsOnePage(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	// As a device of the camp asks: an address of the station's own is no use on paper.
	camp := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Host = "192.0.2.1:8173"
		f.ServeHTTP(w, r)
	}))
	t.Cleanup(camp.Close)
	pages := func(b *pagetest.Browser) int {
		return len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(b.PDF(), -1))
	}
	b := open(t)
	b.Size(1000, 800)
	for _, state := range []string{"within", "ending", "borderline", "outside", "unknown", "demo", "gone"} {
		if state == "gone" {
			f.still.Store(true)
			f.later.Store(int64(staleAfter + time.Second))
		} else {
			f.edit(func(s *status.Snapshot) { *s = inState(state) })
			time.Sleep(1100 * time.Millisecond)
		}
		b.Go(camp.URL + "/")
		b.Wait(`document.documentElement.dataset.state !== "" && !!document.querySelector("#tools button")`, patience)
		if n := pages(b); n != 1 {
			t.Errorf("%s: the page itself, printed, has %d pages", state, n)
		}
		b.Paper("print")
		b.Shot("printed-" + state)
		b.Paper("")
		b.Go(camp.URL + "/card")
		if n := pages(b); n != 1 {
			t.Errorf("%s: the card has %d pages", state, n)
		}
		if state != "within" {
			continue
		}
		text := pagetest.Eval[string](b, `document.body.innerText`)
		for _, want := range []string{"Clock good", "FG69gu", "−20.130000 −67.490000", "Foxtrot Golf", "1000 km", "Not for navigation.", "http://192.0.2.1:8173/"} {
			if !strings.Contains(text, want) {
				t.Errorf("no %q on the card", want)
			}
		}
		b.Paper("print")
		b.Shot("card")
		b.Paper("")
	}
}

// TestBelowTheGlance: what is read and done by hand below the answer is held to the same
// layout, and to targets that a cold finger hits, on the phone and on the tablet.
func TestBelowTheGlance(t *testing.T) {
	t.Parallel()
	f, _ := withHands(t)
	b := open(t)
	for _, size := range [][2]int64{{360, 640}, {1280, 800}} {
		b.Size(size[0], size[1])
		b.Go(f.server.URL)
		b.Wait(alive, patience)
		pagetest.Eval[bool](b, `document.getElementById("more").scrollIntoView(), true`)
		b.Wait(`!!document.getElementById("who") && !!document.getElementById("byhand")`, patience)
		pagetest.Eval[bool](b, `document.querySelectorAll("details").forEach((d) => { d.open = true; }), true`)
		for _, fault := range pagetest.Eval[[]string](b, faultsOfLayout) {
			t.Errorf("%d×%d: %s", size[0], size[1], fault)
		}
		b.Shot(fmt.Sprintf("below-%d", size[0]))
	}
}
