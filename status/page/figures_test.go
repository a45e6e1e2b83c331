package page

import (
	"fmt"
	"image"
	"math"
	"os"
	"testing"
	"time"

	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// TestReadAtTwoMetres: how high the capitals of the answer stand at 2 m. A tablet of 10.1 in,
// 1280 by 800 pixels, is 217 mm wide; a phone of 360 pixels 67 mm (from data sheets).
func TestReadAtTwoMetres(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	b := open(t)
	for _, row := range []struct {
		name string
		w, h int64
		mm   float64 // of width
		want float64 // minutes of arc
	}{{"tablet", 1280, 800, 217, 20}, {"phone", 360, 640, 67, 15}} {
		b.Size(row.w, row.h)
		b.Go(f.server.URL)
		b.Wait(alive, patience)
		px := pagetest.Eval[float64](b, `(() => { const s = getComputedStyle(document.querySelector("#answer .word span")), c = document.createElement("canvas").getContext("2d");
			c.font = s.fontWeight + " " + s.fontSize + " " + s.fontFamily; return c.measureText("H").actualBoundingBoxAscent; })()`)
		got := math.Atan(px*row.mm/float64(row.w)/2000) * 180 * 60 / math.Pi
		t.Logf("%s: capitals of %.1f pixels, %.1f minutes of arc", row.name, px, got)
		if got < row.want {
			t.Errorf("%s: %.1f minutes of arc, asked %.0f", row.name, got, row.want)
		}
	}
}

// linear is a colour's light, 0 to 1 (sRGB, IEC 61966-2-1).
func linear(v uint32) float64 {
	c := float64(v) / 0xffff
	if c <= 0.04045 {
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}

// light sums the light of a picture in its three colours.
func light(m image.Image) (red, green, blue float64) {
	for y := m.Bounds().Min.Y; y < m.Bounds().Max.Y; y++ {
		for x := m.Bounds().Min.X; x < m.Bounds().Max.X; x++ {
			r, g, b, _ := m.At(x, y).RGBA()
			red, green, blue = red+linear(r), green+linear(g), blue+linear(b)
		}
	}
	return red, green, blue
}

// TestNightIsRed: in the night look green and blue are at most 2 % of all light, in each
// state; a system that prefers the dark does not get it unasked.
func TestNightIsRed(t *testing.T) {
	t.Parallel()
	f, _ := withHands(t)
	b := open(t)
	b.Size(1280, 800)
	b.Go(f.server.URL + "/look?look=night")
	b.Wait(alive, patience)
	for _, state := range []string{"within", "ending", "borderline", "outside", "unknown", "demo", "gone"} {
		become(b, f, state)
		r, g, bl := light(b.Picture())
		share := (g + bl) / (r + g + bl)
		t.Logf("%s: %.2f %% green and blue", state, 100*share)
		if share > 0.02 || r == 0 {
			t.Errorf("%s: %.1f %% green and blue", state, 100*share)
		}
	}
	// What is done by hand, too.
	f.still.Store(false)
	b.Wait(alive, patience)
	byHandOpen(b)
	b.Wait(`(document.getElementById("marking").scrollIntoView(), scrollY > 0)`, patience)
	if r, g, bl := light(b.Picture()); (g+bl)/(r+g+bl) > 0.02 {
		t.Errorf("by hand: %.1f %% green and blue", 100*(g+bl)/(r+g+bl))
	}
	b.Media("prefers-color-scheme", "dark")
	b.Go(f.server.URL + "/look?look=auto")
	b.Wait(alive, patience)
	if r, g, bl := light(b.Picture()); (g+bl)/(r+g+bl) < 0.3 {
		t.Error("the system's wish for the dark turns the page red")
	}
}

// become puts the station in a state and waits until the page shows it.
func become(b *pagetest.Browser, f *fake, state string) {
	if f.still.Store(state == "gone"); state == "gone" {
		b.Wait(`document.documentElement.dataset.state === "gone"`, patience)
		return
	}
	want := inState(state)
	f.edit(func(s *status.Snapshot) { *s = want })
	caution := "false"
	if state == "ending" {
		caution = "true"
	}
	b.Wait(fmt.Sprintf(`(({state, live}) => state === %q && live === %q)(document.documentElement.dataset) && document.documentElement.hasAttribute("data-caution") === %s`,
		want.Modes[0].Verdict, map[bool]string{true: "yes", false: "no"}[want.Live], caution), patience)
	time.Sleep(50 * time.Millisecond)
}

// What a screen may weigh.
const (
	firstLoadMax = 45_000    // bytes on the line
	hourMax      = 1_500_000 // bytes an hour, of the stream and the exchanges
)

// TestWeight counts what goes over the line to a screen: at first, and in an hour of a
// restless night, taken from NOONMARK_LOAD or 10 s.
func TestWeight(t *testing.T) {
	t.Parallel()
	length := 10 * time.Second
	if s := os.Getenv("NOONMARK_LOAD"); s != "" {
		var err error
		if length, err = time.ParseDuration(s); err != nil {
			t.Fatal(err)
		}
	}
	f := newFake(t, nil, restless)
	k := newLink(t, address(f))
	b := open(t)
	b.Go(k.url())
	b.Wait(alive+` && !!document.querySelector("#tools button")`, patience)
	time.Sleep(2 * time.Second)
	first := k.bytes.Load()
	time.Sleep(length)
	hour := float64(k.bytes.Load()-first) / length.Seconds() * 3600
	t.Logf("first load %d bytes; %.2f MB an hour", first, hour/1e6)
	if first > firstLoadMax {
		t.Errorf("the first load is %d bytes, at most %d", first, firstLoadMax)
	}
	if hour > hourMax {
		t.Errorf("an hour is %.2f MB, at most %.1f", hour/1e6, hourMax/1e6)
	}
	// What never changes is not sent again.
	before := k.bytes.Load()
	b.Go(k.url())
	b.Wait(alive+` && !!document.querySelector("#tools button")`, patience)
	if again := k.bytes.Load() - before; again > first*3/4 {
		t.Errorf("the second load is %d bytes, the first was %d", again, first)
	}
}

// firstWordMax is how long a slow link may take to the first true word.
const firstWordMax = 3 * time.Second

// TestFirstWordOverASlowLink: 20 kB a second and half a second each way, on a connection that
// is made. Making one takes a second more over such a link; the answer is no older for it.
// A load without the link's slowness tells whether the machine is too busy to ask.
func TestFirstWordOverASlowLink(t *testing.T) {
	f := newFake(t, nil, nil)
	k := newLink(t, address(f))
	b := open(t)
	b.Before(watchScreen)
	load := func(over fault) time.Duration {
		b.Go("about:blank")
		k.lead(address(f)) // a connection is made each time
		k.set(over)
		go b.Go(k.url())
		b.Wait(`!!window.screenSays && screenSays.some((n) => n.includes("Clock good"))`, patience)
		ms := pagetest.Eval[float64](b, `Number(screenSays.find((n) => n.includes("Clock good")).split(" ")[0]) - performance.timeOrigin`)
		return time.Duration(ms * float64(time.Millisecond))
	}
	const idle = 250 * time.Millisecond
	for range 4 {
		before := load(fault{})
		took := load(fault{Rate: 20_000, Lag: 500 * time.Millisecond})
		after := load(fault{})
		t.Logf("the first true word after %s; without the slow link %s and %s", took, before, after)
		if took <= firstWordMax {
			return
		}
		if before < idle && after < idle {
			t.Fatalf("the first true word comes after %s, at most %s", took, firstWordMax)
		}
	}
	t.Skip("this machine is too busy to tell")
}
