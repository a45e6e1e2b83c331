package page

import (
	"strings"
	"testing"
	"time"

	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// marked: the word can be seen, and there is a frame around everything.
const marked = `document.getElementById("sim").checkVisibility() && getComputedStyle(document.getElementById("glance")).borderTopStyle === "solid" && document.title.startsWith("Simulation: ")`

// TestSimulationTravelsWithEachEvent: a page left open on the service, whose place a
// simulation takes, says so at two metres, and no longer when the service is back.
func TestSimulationTravelsWithEachEvent(t *testing.T) {
	t.Parallel()
	var tr truth
	service, demo := stationFor(t, &tr, true, nil), stationFor(t, &tr, false, nil)
	k := newLink(t, address(service))
	b := open(t)
	b.Size(1280, 800)
	b.Before(watchScreen)
	b.Go(k.url())
	b.Wait(alive, patience)
	if pagetest.Eval[bool](b, marked) {
		t.Error("the service's clock is called a simulation")
	}
	k.lead(address(demo))
	b.Wait(`document.getElementById("sim").checkVisibility() && `+alive, patience)
	b.Wait(marked, patience) // the frame, and the word in the title
	// Capitals are about 0.7 of their font's size; 0.17 mm a pixel, 10 minutes of arc at 2 m.
	if cap := 0.7 * pagetest.Eval[float64](b, `parseFloat(getComputedStyle(document.getElementById("sim")).fontSize)`); cap*0.17 < 5.8 {
		t.Errorf("the word stands %.0f px high", cap)
	}
	if got := b.Text("told") + b.Text("warned"); !strings.Contains(got, "Simulation.") {
		t.Errorf("who cannot see hears %q", got)
	}
	b.Shot("simulation")
	time.Sleep(4 * time.Second)
	b.Wait(marked, patience) // and it stays; what is shown without it the notes tell
	k.lead(address(service))
	b.Wait(`!document.getElementById("sim").checkVisibility() && `+alive, patience)
	if tr.check(t, pagetest.Eval[[]string](b, `screenSays`), "service, demo, service") == 0 {
		t.Error("nothing was ever shown")
	}
	// Neither live nor simulated while nothing is known.
	service.still.Store(true)
	b.Wait(`document.documentElement.dataset.state === "gone" && document.documentElement.dataset.live === ""`, patience)
	clean(t, b)
}

// TestTimeIsNoSurerThanItIs: beside UTC stands its ± with what the exchange leaves open;
// seconds are dim when the worst case exceeds half a second, and nothing is counted down
// when it exceeds a quarter of the period.
func TestTimeIsNoSurerThanItIs(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	k := newLink(t, address(f))
	b := open(t)
	k.set(fault{Lag: 250 * time.Millisecond})
	b.Go(k.url())
	b.Wait(alive, patience)
	const bound = `Number(document.getElementById("bound").textContent.slice(2, -2))`
	b.Wait(bound+` >= 0.08 + 0.2`, patience) // half a second's round leaves so much open
	k.set(fault{})
	b.Wait(bound+` < 0.2`, patience) // the exchange has bettered it
	const dim, counts = `document.getElementById("utc").classList.contains("dim")`, `/^\d+$/.test(document.getElementById("left").textContent)`
	for _, row := range []struct {
		guard       float64
		dim, counts bool
	}{{0.3, false, true}, {0.8, true, true}, {3.9, true, false}} {
		f.edit(func(s *status.Snapshot) { s.Clock.GuardS = status.Known(row.guard) })
		want := `(` + dim + `) === ` + map[bool]string{true: "true", false: "false"}[row.dim] + ` && (` + counts + `) === ` + map[bool]string{true: "true", false: "false"}[row.counts]
		b.Wait(want, patience)
	}
}

// TestOneExchangeAtATime: over a bad link questions do not pile up.
func TestOneExchangeAtATime(t *testing.T) {
	t.Parallel()
	f := newFake(t, nil, nil)
	k := newLink(t, address(f))
	b := open(t)
	b.Before(`{ const plain = fetch; window.flying = window.worst = window.asked = 0;
		window.fetch = async (url, o) => { if (!String(url).includes("exchange")) return plain(url, o);
			asked++; worst = Math.max(worst, ++flying); try { return await plain(url, o); } finally { flying--; } }; }`)
	b.Go(k.url())
	b.Wait(alive, patience)
	k.set(fault{Lag: 900 * time.Millisecond})
	time.Sleep(8 * time.Second)
	if got := pagetest.Eval[[]int](b, `[worst, asked]`); got[0] != 1 || got[1] > 15 {
		t.Errorf("%d questions at once, %d in 8 s", got[0], got[1])
	}
}
