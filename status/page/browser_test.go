package page

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// patience is how long a test waits for what comes at once on an idle machine.
const patience = time.Minute

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

// measured: the exchange with the station has ended.
const measured = `document.getElementById("device").dataset.offset !== undefined`

const alive = `document.getElementById("gone").hidden && document.getElementById("verdict").checkVisibility()`

func TestGlance(t *testing.T) {
	f := newFake(t, nil, nil)
	b := open(t)
	b.Go(f.server.URL)
	b.Wait(`document.getElementById("unit").textContent.includes("to next")`, patience)
	for id, want := range map[string]string{"verdict": "FT8\n\nWithin\n\nThe clock is right for FT8.", "place": "FG69gu18et", "until": "05 Feb 09:00 UTC",
		"because": f.snap.Clock.Because, "chips": "FT4\nWithin", "references": "receiver", "facts": "Battery of the hardware clock\nlow", "sky": "11 used, 1 heard, 2 in view"} {
		if got := b.Text(id); !strings.Contains(got, want) {
			t.Errorf("%s: %q, want %q", id, got, want)
		}
	}
	// The station's own judged time, not this machine's, to the second: in 2031.
	b.Wait(measured, patience)
	station := func() time.Time { return begin.Add(time.Duration(f.now() - 1_000_000_000)).Time() }
	var shown []string
	var at time.Time
	for try := 0; ; try++ { // a busy browser ticks late, now and then
		before := station()
		shown = pagetest.Eval[[]string](b, `[document.getElementById("date").textContent + " " + document.getElementById("utc").textContent, document.getElementById("left").textContent]`)
		after := station()
		var err error
		at, err = time.Parse("Mon 2006-01-02 15:04:05", shown[0])
		if err == nil && before.Sub(at) <= 1300*time.Millisecond && at.Sub(after) <= 300*time.Millisecond {
			break
		}
		if try == 20 {
			t.Fatalf("the page shows %s, the station's time is %s to %s", shown[0], before, after)
		}
	}
	if want := fmt.Sprint(15 - at.Second()%15); shown[1] != want {
		t.Errorf("%s s to the next period at %s, want %s", shown[1], shown[0], want)
	}
	b.Shot("glance")
	b.Size(1440, 900)
	time.Sleep(200 * time.Millisecond)
	b.Shot("glance-wide")
	clean(t, b)
}

// witness takes the times within the browser: a busy machine answers late. lag is by
// how much the browser itself was late since the last word.
const witness = `{ let was = performance.now(); window.lag = 0;
	setInterval(() => { const now = performance.now(); window.lag = Math.max(window.lag, now - was - 50); was = now; }, 50);
	const Plain = EventSource; window.goneAt = 0; window.EventSource = class extends Plain {
	constructor(url) { super(url); this.addEventListener("message", () => { window.lastWord = performance.now(); window.lag = 0; }); } };
	addEventListener("DOMContentLoaded", () => { const gone = document.getElementById("gone");
		new MutationObserver(() => { if (gone.checkVisibility()) window.goneAt = performance.now(); }).observe(gone, {attributes: true}); }); }`

func TestScreenGoesStaleWithinThreeSeconds(t *testing.T) {
	f := newFake(t, nil, nil)
	b := open(t)
	b.Before(witness)
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	b.Wait(`document.getElementById("unit").textContent.includes("to next")`, patience)
	f.still.Store(true)
	inTime := func() {
		t.Helper()
		b.Wait(`window.goneAt > window.lastWord`, patience)
		if after := pagetest.Eval[[]float64](b, `[window.goneAt - window.lastWord, window.lag]`); after[0] > 3000+after[1] {
			t.Errorf("the page stood by a word %.0f ms old; the browser was %.0f ms late", after[0], after[1])
		}
	}
	inTime()
	text := pagetest.Eval[string](b, `document.getElementById("glance").innerText`)
	for _, old := range []string{"Within", "right for", "Good until"} {
		if strings.Contains(text, old) {
			t.Errorf("a page without a station says %q", old)
		}
	}
	for _, want := range []string{"Gone", "Do not key up.", "Last heard at", "FG69gu"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %q", want, text)
		}
	}
	b.Shot("gone")
	f.still.Store(false)
	b.Wait(alive, patience)
	// The server itself goes.
	f.server.Listener.Close()
	f.server.CloseClientConnections()
	inTime()
	b.Wait(`!document.getElementById("gone").hidden && document.title.includes("gone")`, patience)
}

// TestScreenAfterSleep: a device that slept wakes with an old page, whose own
// count of seconds stood still. The page is covered until there is a new word.
func TestScreenAfterSleep(t *testing.T) {
	f := newFake(t, nil, nil)
	b := open(t)
	b.Before(witness)
	b.Before(`window.jump = 0; const now = Date.now; Date.now = () => now() + window.jump;`)
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	pagetest.Eval[bool](b, `window.goneAt = 0, window.jump = 3600e3, true`)
	b.Wait(`window.goneAt > 0`, patience)
	b.Wait(alive, patience)
}

func TestModeByTap(t *testing.T) {
	f := newFake(t, func(s *status.Snapshot) { s.Modes[1].Verdict = status.Borderline }, nil)
	b := open(t)
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	pagetest.Eval[bool](b, `document.getElementById("chip-FT4").click(), true`)
	b.Wait(`location.search === "?mode=FT4" && document.readyState === "complete" && document.getElementById("verdict").innerText.includes("FT4")`, patience)
	b.Wait(`document.title === "noonmark: FT4: Borderline"`, patience)
	// The keyboard's place is kept when a part is replaced.
	pagetest.Eval[bool](b, `document.getElementById("chip-WSPR").focus(), true`)
	f.edit(func(s *status.Snapshot) { s.Modes[2].Verdict = status.Outside })
	b.Wait(`document.getElementById("chip-WSPR").innerText.includes("Outside")`, patience)
	if got := pagetest.Eval[string](b, `document.activeElement.id`); got != "chip-WSPR" {
		t.Errorf("the focus went to %q", got)
	}
}

// TestThisDevicesClock shifts the browser's clock and has the page find it.
func TestThisDevicesClock(t *testing.T) {
	f := newFake(t, nil, nil)
	b := open(t)
	const fast = 1234 * time.Millisecond
	shift := time.Until(begin.Add(time.Duration(f.now()-1_000_000_000)).Time()) + fast
	b.Before(fmt.Sprintf(`const now = Date.now; Date.now = () => now() + %d;`, shift.Milliseconds()))
	b.Go(f.server.URL)
	b.Wait(measured, patience)
	got := pagetest.Eval[[]float64](b, `[Number(document.getElementById("device").dataset.offset), Number(document.getElementById("device").dataset.sure)]`)
	bound := f.snap.Clock.BoundS.V
	if off, sure := got[0], got[1]; math.Abs(off-fast.Seconds()) > sure-bound+0.002 || sure < bound || sure > bound+0.5 {
		t.Errorf("this device's clock is %s fast; the page says %.3f s, sure to %.3f s", fast, off, sure)
	}
	text, said := b.Text("device"), 0.0
	if _, err := fmt.Sscanf(text, "This device is %f s fast", &said); err != nil || math.Abs(said-got[0]) > 0.006 || !strings.Contains(text, "s fast, sure to ±") {
		t.Error(text)
	}
}

// TestNightIsWithoutBlue: in the dark look no colour has more blue than a third of
// its red, so that eyes stay used to the dark.
func TestNightIsWithoutBlue(t *testing.T) {
	f := newFake(t, nil, nil)
	b := open(t)
	b.Media("prefers-color-scheme", "dark")
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	b.Shot("night")
	colours := pagetest.Eval[[]string](b, `[...new Set([...document.querySelectorAll("body, body *")].filter(e => e.checkVisibility()).flatMap(e => {
		const s = getComputedStyle(e); return [s.color, s.backgroundColor].concat(e instanceof SVGElement ? [s.fill, s.stroke] : []); }))]`)
	seen := 0
	for _, c := range colours {
		var r, g, blue, alpha float64
		if n, _ := fmt.Sscanf(c, "rgba(%f, %f, %f, %f)", &r, &g, &blue, &alpha); n == 4 && alpha == 0 {
			continue
		}
		if n, _ := fmt.Sscanf(c, "rgb(%f, %f, %f)", &r, &g, &blue); n != 3 {
			continue
		}
		if seen++; g > r || blue > 0.75*r && r > 40 {
			t.Errorf("a colour with blue in it: %s", c)
		}
	}
	if seen < 5 {
		t.Errorf("%d colours seen: %q", seen, colours)
	}
}

var sizes = [][2]int64{{360, 640}, {412, 915}, {640, 360}, {800, 1280}, {1280, 800}, {1920, 1080}, {2560, 1600}}

func TestNothingOverflows(t *testing.T) {
	f := newFake(t, func(s *status.Snapshot) {
		s.Modes[0].Verdict, s.Modes[0].GoodForS, s.Modes[0].GoodUntilUTC = status.Borderline, status.Float{}, status.Time{}
	}, nil)
	b := open(t)
	for _, size := range sizes {
		b.Size(size[0], size[1])
		b.Go(f.server.URL)
		b.Wait(alive, patience)
		out := pagetest.Eval[[]string](b, `[...document.querySelectorAll("body *")].filter(e => e.checkVisibility() && !e.closest(".sr") && !e.closest("svg") &&
			(e.getBoundingClientRect().right > document.documentElement.clientWidth + 0.5 || e.getBoundingClientRect().left < -0.5 || e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 && getComputedStyle(e).display !== "inline"))
			.map(e => e.tagName + "#" + e.id + "." + e.className + " " + e.textContent.slice(0, 40))`)
		if len(out) > 0 {
			t.Errorf("%d×%d: %q", size[0], size[1], out)
		}
		b.Shot(fmt.Sprintf("size-%dx%d", size[0], size[1]))
	}
}

func TestAccessible(t *testing.T) {
	f := newFake(t, nil, nil)
	b := open(t)
	b.Size(412, 915)
	check := func(what string) {
		t.Helper()
		for _, v := range b.Accessible("testdata/axe", "glance") {
			t.Errorf("%s: %s: %s: %s", what, v.ID, v.Help, strings.Join(v.Nodes, "\n    "))
		}
	}
	for _, look := range []string{"day", "night", "contrast"} {
		b.Go(f.server.URL + "/look?look=" + look)
		b.Wait(alive, patience)
		for _, verdict := range []string{status.Within, status.Borderline, status.Outside, status.Unknown} {
			f.edit(func(s *status.Snapshot) { s.Modes[0].Verdict = verdict })
			b.Wait(`document.documentElement.dataset.state === "`+verdict+`"`, patience)
			check(look + ", " + verdict)
			b.Shot(look + "-" + verdict)
		}
	}
	b.Size(1440, 900)
	check("contrast, wide")
	b.Go(f.server.URL + "/look?look=day")
	f.still.Store(true)
	b.Wait(`!document.getElementById("gone").hidden`, patience)
	check("gone")
}

func TestWithoutScript(t *testing.T) {
	f := newFake(t, nil, nil)
	b := open(t)
	b.Scripts(false)
	b.Go(f.server.URL)
	first := b.Text("utc")
	if got := b.Text("verdict"); !strings.Contains(got, "Within") {
		t.Error(got)
	}
	b.Wait(`document.getElementById("utc")?.innerText > "`+first+`"`, patience) // loaded again by itself
	b.Shot("no-script")
}

// TestWorkerKeepsNoVerdict: installed, with the station gone, the page opens with
// the news that the station is gone.
func TestWorkerKeepsNoVerdict(t *testing.T) {
	f := newFake(t, nil, nil)
	b := open(t)
	b.Go(f.server.URL)
	b.Wait(`navigator.serviceWorker.controller !== null`, patience)
	f.server.Listener.Close()
	f.server.CloseClientConnections()
	b.Go(f.server.URL + "/?again")
	text := pagetest.Eval[string](b, `document.body.innerText`)
	if !strings.Contains(text, "Gone") || strings.Contains(text, "Within") {
		t.Error(text)
	}
	if cached := pagetest.Eval[[]string](b, `caches.open("outfit").then(c => c.keys()).then(k => k.map(r => new URL(r.url).pathname))`); len(cached) != 2 {
		t.Errorf("the worker keeps %q", cached)
	}
	b.Shot("worker-gone")
}

func TestCardFillsOnePage(t *testing.T) {
	f := newFake(t, nil, nil)
	b := open(t)
	b.Size(1000, 800)
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	if n := len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(b.PDF(), -1)); n != 1 {
		t.Errorf("the card has %d pages", n)
	}
	b.Paper("print")
	text := pagetest.Eval[string](b, `document.body.innerText`)
	for _, want := range []string{"Within", "FG69gu", "-20.130000, -67.490000", "1000 km", "Not for navigation."} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q on the card", want)
		}
	}
	b.Shot("card")
}
