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
	if math.Abs(bank.AirShared-crowd.Shared) > 5e-5 {
		t.Errorf("the σ of what a crowd shares is %v s, %v here", crowd.Shared, bank.AirShared)
	}
}

// shared is how likely a crowd's delays are to be off by how much, s, in steps of 1 ms: the radio's filter
// by ± 30 ms, the way by ± 20, the senders' sound devices by ± 50, each evenly and on its own.
var shared = func() map[float64]float64 {
	p := map[int]float64{0: 1} // by half milliseconds
	for _, ms := range []int{30, 20, 50} {
		next := map[int]float64{}
		for at, v := range p {
			for k := 1 - 2*ms; k < 2*ms; k += 2 {
				next[at+k] += v / float64(2*ms)
			}
		}
		p = next
	}
	s := map[float64]float64{}
	for at, v := range p {
		s[float64(at)*5e-4] = v
	}
	return s
}()

// beyond is the chance that a Gaussian of σ s and what a crowd shares are together further from 0
// than x: both sides, for the sum is symmetrical.
func beyond(x, s float64) (p float64) {
	for u, v := range shared {
		p += v * math.Erfc((x-u)/s/math.Sqrt2)
	}
	return p
}

// quantile is what such an error exceeds with the chance p.
func quantile(p, s float64) float64 {
	lo, hi := 0.0, floor+6*s
	for range 50 {
		if mid := (lo + hi) / 2; beyond(mid, s) > p {
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
		{0.20, 0, bank.AirShared, 0.04},
		{0.216, 0.116, math.Sqrt(bank.AirShared*bank.AirShared + 0.016*0.016/3), 0.04},
		{0.35, 0.25, math.Sqrt(bank.AirShared*bank.AirShared + 0.0225/3), 0.04},
		{0.10, 0.10, bank.AirShared, 0.002}, // no crowd is without scatter
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

// What a crowd says comes through with its two errors, in seconds, and its period.
func TestCrowd(t *testing.T) {
	var h Hearings
	r, ok := h.Take(&clockcheck.Air{Source: clockcheck.Crowd, At: 5e9, UTC: 7e9, Bound: 216 * time.Millisecond, Common: 116 * time.Millisecond,
		Modulo: 6 * time.Second, Signals: 5})
	common, variance := parts(0.216, 0.116)
	if !ok || r.Source != bank.Crowd || r.Z != 2e9 || r.Common != common || r.Var != variance || r.Repeat != 1 || r.Modulo != 6 || r.Dated {
		t.Errorf("%+v, %v", r, ok)
	}
}

// Who sends in even periods is not heard in odd ones, whatever the period.
func TestEvenAndOdd(t *testing.T) {
	for _, period := range []time.Duration{6 * time.Second, 7500 * time.Millisecond, 10 * time.Second, 15 * time.Second, 30 * time.Second} {
		for n, other := range map[int]bool{1: true, 2: false, 3: true, 4: false, 7: true} {
			var h Hearings
			a := clockcheck.Air{Source: clockcheck.Crowd, At: 1e9, Bound: 200 * time.Millisecond, Modulo: period, Signals: 9}
			h.Take(&a)
			a.At = a.At.Add(time.Duration(n)*period + 400*time.Millisecond) // it is examined a little later or earlier
			if r, _ := h.Take(&a); (r.Repeat == 1) != other {
				t.Errorf("%d periods of %v later the same crowd counts %v times", n, period, r.Repeat)
			}
		}
	}
}

// A crowd's bound is a Gaussian part, at 99 %, and three ranges. By adding up all that they may be, what is
// taken for it covers them at 99 % and at 99.99 %; and is wider at 99.99 % by a quarter at most, but for
// a crowd so large that the ranges are nearly all of it.
func TestSigmaOfACrowd(t *testing.T) {
	for bound, wider := range map[float64]float64{0.14: 1.65, 0.2: 1.25, 0.3: 1.25, 0.6: 1.25} {
		scatter := (bound - floor) / 2.576
		likely, most := quantile(1e-2, scatter), quantile(1e-4, scatter)
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
