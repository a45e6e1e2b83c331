package clockcheck

import (
	"math"
	"testing"
	"time"
)

// twoViews looks at a judgement: what the filter alone would have to reckon with
// must lie within the guard of what is reported.
func twoViews(t *testing.T, w *world) {
	t.Helper()
	j := w.j
	g := j.guardAhead(0)
	x := w.got.Error + j.view.correction // by the filter alone
	for _, e := range []float64{x - g.lo, x - g.hi} {
		if math.Abs(e-w.got.Error) > w.got.Guard+1e-9 {
			t.Fatalf("an error of %.4f s was possible, %.4f ± %.4f s is said; lead %.4f s", e, w.got.Error, w.got.Guard, j.view.correction)
		}
	}
	if math.Abs(j.view.correction) > viewsFar/2+1e-9 {
		t.Fatalf("reported %.4f s from the filter", j.view.correction)
	}
}

func ledWorld(t *testing.T) *world {
	w := newWorld(t, Learned{RatePPM: -12, RateSigmaPPM: 0.5})
	w.run(10 * time.Second)
	w.j.Network(&Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 5 * time.Millisecond})
	w.run(time.Hour)
	return w
}

// The oscillator warms up: 2 ppm in four hours. The report follows the receiver,
// which is right, closer than the filter does.
func TestReportFollowsAnOrdinaryOscillator(t *testing.T) {
	w := ledWorld(t)
	var reported, filtered float64
	for range 4 * 3600 {
		w.ppm += 2.0 / (4 * 3600)
		w.second()
		twoViews(t, w)
		reported = math.Max(reported, math.Abs(w.got.Error-w.sys))
		filtered = math.Max(filtered, math.Abs(w.got.Error+w.j.view.correction-w.sys))
	}
	if reported > 0.004 || filtered < 2*reported {
		t.Errorf("largest error %.4f s as reported, %.4f s of the filter", reported, filtered)
	}
	w.honest()
}

// A drag-off too slow to be seen at once takes the report along no further than
// half of viewsFar, then the filter's view is the one reported.
func TestReportLetsGoOfADrag(t *testing.T) {
	w := ledWorld(t)
	w.drag = 15e-6
	led, back := false, false
	for range 2 * 3600 {
		w.second()
		twoViews(t, w)
		led = led || math.Abs(w.j.view.correction) > viewsFar/4
		back = back || led && w.j.view.correction == 0
	}
	if !led || !back {
		t.Errorf("led %v, let go %v: the views were never apart", led, back)
	}
	w.honest()
}

// A witness that speaks settles which view was right: both are one then.
func TestWitnessSettlesTheViews(t *testing.T) {
	w := ledWorld(t)
	for range 3 * 3600 {
		w.ppm += 2.0 / (3 * 3600)
		w.second()
	}
	before := math.Abs(w.j.view.difference)
	w.j.Network(&Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 2 * time.Millisecond})
	w.run(2 * time.Second)
	twoViews(t, w)
	if after := math.Abs(w.j.view.difference); before < 0.004 || after > before/4 {
		t.Errorf("apart by %.4f s before, %.4f s after a server spoke", before, after)
	}
	w.honest()
}
