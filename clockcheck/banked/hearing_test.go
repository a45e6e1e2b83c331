package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// crowd has the station hear n others, whose clocks are err seconds late as a crowd.
func (w *world) crowd(n int, err float64, period, bound time.Duration) bool {
	utc := w.utc.Add(-time.Duration(err * 1e9))
	return w.j.Air(&clockcheck.Air{Source: "crowd", At: w.local, UTC: utc.Add(-time.Hour / 2), Modulo: period, Bound: bound, Common: bound / 2, Signals: n})
}

const (
	ft8    = 15 * time.Second
	ft4    = 7500 * time.Millisecond
	airing = 200 * time.Millisecond
)

// A lone, unlearned receiver: the crowd proves its second at once.
func TestCrowdProvesTheSecond(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.sys = 0.05
	w.run(20 * time.Second)
	w.want(clockcheck.Borderline, clockcheck.BasisGNSS)
	if w.crowd(4, 0, ft8, airing) {
		t.Error("four stations are a crowd")
	}
	if !w.crowd(17, 0.1, ft8, airing) {
		t.Error("not placed")
	}
	w.run(10 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	for range int(untilProved / (15 * time.Second)) {
		w.crowd(17, 0.1, ft8, airing)
		w.run(15 * time.Second)
	}
	if v := w.got.Modes[1].Verdict; v != clockcheck.Within {
		t.Errorf("FT4 %s, guard %.3f s", v, w.got.Guard)
	}
	w.honest()
}

// Modulo 7.5 s a receiver 7 s ahead looks right while its latency is open: the second is not
// confirmed by that.
func TestShortPeriodNamesNoSecond(t *testing.T) {
	for _, lie := range []float64{0, 7} {
		w := newWorld(t, clockcheck.Learned{})
		w.lie = lie
		w.run(20 * time.Second)
		for range 10 {
			w.crowd(17, 0, ft4, airing)
			w.run(15 * time.Second)
		}
		if w.got.Modes[0].Verdict == clockcheck.Within {
			t.Errorf("a receiver that is %v s ahead: within", lie)
		}
		w.honest()
	}
}

// A lie of whole seconds from the first fix on, the clock steered to it: the crowd shows it.
func TestCrowdShowsALie(t *testing.T) {
	for lie := -9; lie <= 9; lie++ {
		w := newWorld(t, clockcheck.Learned{})
		w.lie, w.sys = float64(lie), float64(lie)
		w.run(20 * time.Second)
		for range 90 {
			w.crowd(12, 0.05, ft8, airing)
			w.run(15 * time.Second)
		}
		if v := w.got.Modes[0].Verdict; (v == clockcheck.Within) != (lie == 0) || w.falseS > 0 {
			t.Errorf("lie of %+d s: %s, %d s of false within", lie, v, w.falseS)
		}
		if lie >= -7 && lie <= 7 {
			w.honest()
		}
	}
}

// Dragged off at so many ppm, the clock steered along.
func TestCrowdShowsADrag(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for _, ppm := range first([]float64{20, 195, 60, -20, -195}, 2) {
		w := newWorld(t, clockcheck.Learned{})
		w.run(20 * time.Second)
		w.crowd(12, 0.05, ft8, airing)
		w.run(untilProved)
		w.drag = ppm * 1e-6
		for math.Abs(w.lie) < 2 {
			w.sys = w.lie
			w.second()
			if w.local.Sub(0)/time.Second%150 == 0 {
				w.crowd(12, 0.05, ft8, airing)
			}
		}
		if v := w.got.Modes[0].Verdict; v == clockcheck.Within {
			t.Errorf("%.0f ppm: %s", ppm, v)
		}
		w.honest()
	}
}

// The crowd's error is common to all its periods: it does not average away.
func TestCrowdsDoNotAverage(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.run(20 * time.Second)
	for range 200 {
		w.crowd(17, 0.18, ft8, airing)
		w.run(15 * time.Second)
	}
	w.honest()
}

// A camp on one bad clock opposes a proved receiver, and a third decides.
func TestBadCrowdIsOutvoted(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.sys = 0.1
	w.run(untilProved)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	w.crowd(9, 1.5, ft8, airing)
	w.run(5 * time.Second)
	if v := w.got.Modes[0].Verdict; v == clockcheck.Within {
		t.Errorf("FT8 %s, and the crowd says otherwise", v)
	}
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
	w.run(10 * time.Second)
	if math.Abs(w.got.Error-w.sys) > 0.1 {
		t.Errorf("error %.3f s, true %.3f s: the crowd has outvoted two", w.got.Error, w.sys)
	}
	w.honest()
}

// A time signal with its date gives the time alone.
func TestStationAlone(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.mute = true
	w.j.Air(&clockcheck.Air{Source: "WWV", At: w.local, UTC: w.utc.Add(30 * time.Millisecond), Bound: 80 * time.Millisecond})
	w.run(5 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisOperator)
	w.j.Air(&clockcheck.Air{Source: "CHU", At: w.local, UTC: w.utc, Bound: 80 * time.Millisecond})
	if w.got.References[len(w.got.References)-1].Kind != "air" {
		t.Errorf("%+v", w.got.References)
	}
	w.honest()
}

// A receiver three seconds ahead for want of leap-second data: a dated time signal shows
// it, and what is heard afterwards still agrees.
func TestStationMovesTheSecond(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.valid = false
	w.run(5 * time.Second)
	w.valid, w.lie, w.sys = true, 3, 0.1
	w.run(20 * time.Second)
	for range 12 {
		w.j.Air(&clockcheck.Air{Source: "WWV", At: w.local, UTC: w.utc.Add(20 * time.Millisecond), Bound: 90 * time.Millisecond, Common: 70 * time.Millisecond, Signals: 1})
		w.run(time.Minute)
	}
	if r := w.reference("gnss"); r.State != clockcheck.StateLeapMissing && r.State != clockcheck.StateDisagrees || math.Abs(w.got.Error-w.sys) > 0.1 {
		t.Errorf("error %.3f s, true %.3f s; the receiver is %+v", w.got.Error, w.sys, r)
	}
	w.honest()
}

// FuzzAir: whatever the air says, the true error stays within the guard while the truth is
// told by the receiver, and nothing panics.
func FuzzAir(f *testing.F) {
	f.Add(int64(3), int64(15), int64(200), 9)
	f.Fuzz(func(t *testing.T, off, modulo, bound int64, n int) {
		w := newWorld(t, clockcheck.Learned{})
		w.run(10 * time.Second)
		w.j.Air(&clockcheck.Air{Source: "crowd", At: w.local, UTC: w.utc + timescale.UTC(off*int64(time.Millisecond)),
			Modulo: time.Duration(modulo % 3600 * 1e9), Bound: time.Duration(bound%5000) * time.Millisecond, Signals: n})
		w.run(3 * time.Second)
		if math.IsNaN(w.got.Guard) || w.got.Guard < w.got.Bound {
			t.Errorf("guard %v, bound %v", w.got.Guard, w.got.Bound)
		}
	})
}
