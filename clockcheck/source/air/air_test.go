package air

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

func TestFloorIsThatOfTheCrowd(t *testing.T) {
	if floor != crowd.Floor {
		t.Errorf("the crowd's floor is %v s, %v here", crowd.Floor, floor)
	}
}

// beyond is the chance that a Gaussian of σ s and a uniform error of ± f together are further
// from 0 than x: the Gaussian's tail, averaged over the range in parts.
func beyond(x, s, f float64) (p float64) {
	const parts = 2000
	for k := range parts {
		u := f * (2*(float64(k)+0.5)/parts - 1)
		p += math.Erfc((x-u)/s/math.Sqrt2) / parts // both sides: the sum is symmetrical
	}
	return p
}

// quantile is what such an error exceeds with the chance p.
func quantile(p, s, f float64) float64 {
	lo, hi := 0.0, f+6*s
	for range 50 {
		if mid := (lo + hi) / 2; beyond(mid, s, f) > p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// What the tie of the sound and a doubtful start of the mode add to the range adds as a variance.
func TestRangesAdd(t *testing.T) {
	for _, c := range []struct{ bound, shared, common, scatter float64 }{
		{0.20, 0, 0.10 / math.Sqrt(3), 0.04},
		{0.216, 0.116, math.Sqrt((0.01 + 0.016*0.016) / 3), 0.04},
		{0.35, 0.25, math.Sqrt((0.01 + 0.0225) / 3), 0.04},
		{0.10, 0.10, 0.10 / math.Sqrt(3), 0.002}, // no crowd is without scatter
	} {
		common, v := parts(c.bound, c.shared)
		if math.Abs(common-c.common) > 1e-9 || math.Abs(math.Sqrt(v)-c.scatter) > 1e-9 {
			t.Errorf("bound %v, of which %v shared: %v and %v s, want %v and %v", c.bound, c.shared, common, math.Sqrt(v), c.common, c.scatter)
		}
	}
}

// A time-signal station has no scatter of its own, and needs no five.
func TestStation(t *testing.T) {
	var h Hearings
	r, ok := h.Take(&clockcheck.Air{Source: "WWV", At: 5e9, UTC: 7e9, Bound: 100 * time.Millisecond, Signals: 1})
	if !ok || r.Source != bank.Station || r.Z != 2e9 || math.Abs(r.Common-0.04) > 1e-9 || r.Var != 0 || !r.Dated {
		t.Errorf("%+v, %v", r, ok)
	}
	for _, a := range []clockcheck.Air{
		{Source: "WWV", At: 5e9},
		{Source: "WWV", At: 5e9, Bound: -1},
		{Source: "WWV", At: 5e9, Bound: 1e8, Modulo: -1},
		{Source: clockcheck.Crowd, At: 5e9, Bound: 1e8, Modulo: 15e9, Signals: 4},
	} {
		if r, ok := h.Take(&a); ok {
			t.Errorf("%+v is a hearing: %+v", a, r)
		}
	}
	if h != (Hearings{}) {
		t.Errorf("who is no crowd was counted: %+v", h)
	}
}

// The same stations heard again tell little, those of the periods between as much as the first
// ones, and after an hour they are others.
func TestSameStationsAgain(t *testing.T) {
	h := Since(100e9)
	if h.at[0] != 100e9 || h.at[1] != 100e9 {
		t.Errorf("%+v", h)
	}
	h = Hearings{}
	for _, c := range []struct{ at, times float64 }{
		{100, 1}, {115, 1}, {130, 120}, {145, 120}, {205, 60}, {355, 24}, {370, 15}, {385, 120}, {535, 24}, {4135, 1}, {4149.9, 1}, {4149.9, 3600},
	} {
		r, ok := h.Take(&clockcheck.Air{Source: clockcheck.Crowd, At: timescale.Local(c.at * 1e9), Bound: 200 * time.Millisecond, Modulo: 15 * time.Second, Signals: 5})
		if !ok || r.Source != bank.Crowd || math.Abs(r.Repeat-c.times) > 1e-6 {
			t.Errorf("at %v s: counts %v times, want %v", c.at, r.Repeat, c.times)
		}
	}
}

// A crowd's bound is a Gaussian part, at 99 %, and a range. By integration, what is taken for
// it covers both at 99 % and at 99.99 %; and is wider at 99.99 % by a quarter at most, but for
// a crowd so large that the range is nearly all of it.
func TestSigmaOfACrowd(t *testing.T) {
	for bound, wider := range map[float64]float64{0.14: 1.65, 0.2: 1.25, 0.3: 1.25, 0.6: 1.25} {
		scatter := (bound - floor) / 2.576
		likely, most := quantile(1e-2, scatter, floor), quantile(1e-4, scatter, floor)
		common, variance := parts(bound, floor)
		sigma := math.Sqrt(common*common + variance)
		if 2.576*sigma < likely {
			t.Errorf("bound %.2f s: at 99 %% the error is %.3f s, the bank says %.3f", bound, likely, 2.576*sigma)
		}
		if g := 3.891 * sigma; g < most*0.97 || g > most*wider {
			t.Errorf("bound %.2f s: at 99.99 %% the error is %.3f s, the bank says %.3f", bound, most, g)
		}
	}
}
