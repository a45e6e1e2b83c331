package page

import (
	"fmt"
	"image"
	"testing"

	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// devices stand for a tablet's loudspeaker, its motor and its screen's lock, and count what
// is asked of them. What rings every 5 s rings every 0.3 s here.
const devices = `Object.assign(window, {beeps: 0, buzzes: 0, locks: 0, released: 0});
	window.AudioContext = class { state = "running"; currentTime = 0; destination = {}; resume() {}
		createOscillator() { beeps++; return {frequency: {}, connect: (to) => to, start() {}, stop() {}}; }
		createGain() { return {gain: {}, connect() {}}; } };
	Object.defineProperty(Navigator.prototype, "vibrate", {value: () => { buzzes++; return true; }});
	Object.defineProperty(Navigator.prototype, "wakeLock", {value: {request: async () => { locks++; return {release: async () => { released++; }}; }}});
	const every = window.setInterval; window.setInterval = (f, ms) => every(f, ms === 5000 ? 300 : ms);`

// TestAlarmIsHeardAndFelt: as was chosen, again and again until it is acknowledged; the
// choice outlives a reload; before a first touch, which browsers ask for, the page says that
// it cannot sound yet.
func TestAlarmIsHeardAndFelt(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	b.Before(devices)
	ready := alive + ` && !!document.getElementById("alarm-choice")`
	b.Go(f.server.URL)
	b.Wait(ready, patience)
	pagetest.Eval[bool](b, `document.getElementById("menu").open = true, document.getElementById("alarm-choice").focus(), true`)
	for range 3 {
		b.Key("Enter")
	}
	b.Wait(`document.getElementById("alarm-choice").textContent === "Alarm: screen, sound, vibration" && beeps >= 2`, patience) // each choice that sounds is tried
	pagetest.Eval[bool](b, `beeps = 0, true`)
	become(b, f, "borderline")
	b.Wait(`!!document.getElementById("alarm") && beeps >= 6 && buzzes >= 3`, patience)
	pagetest.Eval[bool](b, `document.getElementById("alarm-seen").focus(), true`)
	b.Key("Enter")
	b.Wait(`!document.getElementById("alarm")`, patience)
	// One pair of tones may be under way; then it is still.
	pagetest.Eval[bool](b, `new Promise((done) => setTimeout(() => { window.after = [beeps, buzzes]; setTimeout(() => done(true), 1500); }, 700))`)
	if !pagetest.Eval[bool](b, `after[0] === beeps && after[1] === buzzes`) {
		t.Error("acknowledged, it goes on")
	}
	f.edit(func(s *status.Snapshot) { *s = good() })
	b.Go(f.server.URL)
	b.Wait(ready+` && document.getElementById("alarm-choice").textContent === "Alarm: screen, sound, vibration"`, patience)
	b.Wait(`!!document.getElementById("unlock")`, patience)
	b.Shot("alarm-locked")
	pagetest.Eval[bool](b, `document.getElementById("unlock").focus(), true`)
	b.Key("Enter")
	b.Wait(`!document.getElementById("unlock") && beeps >= 1`, patience)
}

// TestFullScreen: nothing but the glance, the screen stays awake, and a touch of the answer
// leads back.
func TestFullScreen(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	b.Size(1280, 800)
	b.Before(devices)
	b.Go(f.server.URL)
	b.Wait(alive+` && !!document.getElementById("full")`, patience)
	pagetest.Eval[bool](b, `document.getElementById("menu").open = true, document.getElementById("full").focus(), true`)
	b.Key("Enter")
	b.Wait(`!!document.fullscreenElement && locks === 1`, patience)
	if chrome := pagetest.Eval[[]string](b, `["bar", "more"].filter((id) => document.getElementById(id).checkVisibility()).concat(document.querySelector("footer").checkVisibility() ? ["footer"] : [])`); len(chrome) > 0 {
		t.Errorf("in full screen there is still %v", chrome)
	}
	if over := pagetest.Eval[float64](b, `document.getElementById("glance").getBoundingClientRect().bottom - innerHeight`); over > 1 {
		t.Errorf("in full screen the glance is %.0f px too high", over)
	}
	b.Shot("full-screen")
	pagetest.Eval[bool](b, `document.querySelector("#answer .word").dispatchEvent(new MouseEvent("click", {bubbles: true})), true`)
	b.Wait(`!document.fullscreenElement && released === 1 && document.getElementById("bar").checkVisibility()`, patience)
}

// TestZoomEnlargesTheAnswerFirst: at 200 % the answer's letters are larger than before, and
// it is the first thing on the screen.
func TestZoomEnlargesTheAnswerFirst(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	word := func() float64 {
		// What a busy machine hides has no size.
		return pagetest.Eval[float64](b, `new Promise((done) => { const look = () => document.documentElement.dataset.state === "gone" ? setTimeout(look, 50)
			: requestAnimationFrame(() => requestAnimationFrame(() => document.documentElement.dataset.state === "gone" ? look() : done(parseFloat(getComputedStyle(document.querySelector("#answer .word span")).fontSize)))); look(); })`)
	}
	for _, size := range [][2]int64{{1280, 800}, {1366, 768}, {1024, 600}, {800, 1280}, {360, 640}} {
		b.Size(size[0], size[1])
		before := word()
		b.Size(size[0]/2, size[1]/2)
		after := 2 * word()
		t.Logf("%d×%d: letters of %.0f pixels of the screen, at 200 %% of %.0f", size[0], size[1], before, after)
		least := 1.05
		if size[0] == 800 {
			least = 0.9 // there the word fills the width before and after
		}
		if after < before*least {
			t.Errorf("%d×%d: at 200 %% the answer's letters are %.0f pixels of the screen, at 100 %% %.0f", size[0], size[1], after, before)
		}
		if top := pagetest.Eval[float64](b, `document.querySelector("#answer .word span").getBoundingClientRect().bottom - innerHeight`); top > 0 {
			t.Errorf("%d×%d at 200 %%: the answer is %.0f px below the screen", size[0], size[1], top)
		}
		b.Shot(fmt.Sprintf("zoom-%d", size[0]))
	}
}

// TestForcedColours: where the reader's own colours replace all others, the shapes, the
// lamps, the level and the ring still stand out from what is behind them.
func TestForcedColours(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	b.Size(1280, 800)
	b.Media("forced-colors", "active")
	b.Go(f.server.URL)
	b.Wait(alive, patience)
	for _, state := range []string{"within", "borderline", "gone"} {
		become(b, f, state)
		b.Shot("forced-" + state)
		parts := []string{"#answer .shape", "#answer .level", "#ring svg"}
		for _, lamp := range []string{"satellites", "chip", "network", "air"} {
			parts = append(parts, "#lamp-"+lamp, "#lamp-"+lamp+" svg")
		}
		if state == "gone" {
			parts = []string{"#gone .shape"}
		}
		var faint []string
		for range 20 { // a busy machine loses contact, and with it what is looked for
			become(b, f, state)
			if faint = faintOf(b, parts); faint == nil {
				break
			}
		}
		for _, part := range faint {
			t.Errorf("%s: %s", state, part)
		}
	}
	if words := pagetest.Eval[[]string](b, `[...document.querySelectorAll("legend")].map((e) => e.textContent)`); len(words) == 0 {
		t.Error("the looks have no legend")
	}
}

// faintOf are the parts that hardly stand out on the screen.
func faintOf(b *pagetest.Browser, parts []string) (faint []string) {
	m := b.Picture()
	for _, part := range parts {
		r := pagetest.Eval[[]float64](b, `(() => { const r = document.querySelector("`+part+`").getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; })()`)
		lo, hi := spread(m, image.Rect(int(r[0]), int(r[1]), int(r[2]), int(r[3])))
		if (hi+0.05)/(lo+0.05) < 3 { // WCAG 2.2, 1.4.11: 3 to 1
			faint = append(faint, fmt.Sprintf("%s has a contrast of %.1f to 1", part, (hi+0.05)/(lo+0.05)))
		}
	}
	return faint
}

// spread is the least and the greatest relative luminance in a part of a picture.
func spread(m image.Image, r image.Rectangle) (lo, hi float64) {
	lo = 1
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			red, green, blue, _ := m.At(x, y).RGBA()
			l := 0.2126*linear(red) + 0.7152*linear(green) + 0.0722*linear(blue)
			lo, hi = min(lo, l), max(hi, l)
		}
	}
	return lo, hi
}
