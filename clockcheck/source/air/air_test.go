package air

import (
	"math"
	"testing"

	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/bank"
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

// A crowd's bound is a Gaussian part, at 99 %, and a range. By integration, what is taken for
// it covers both at 99 % and at 99.99 %; and is wider at 99.99 % by a quarter at most, but for
// a crowd so large that the range is nearly all of it.
func TestSigmaOfACrowd(t *testing.T) {
	for bound, wider := range map[float64]float64{0.14: 1.6, 0.2: 1.25, 0.3: 1.25, 0.6: 1.25} {
		scatter := (bound - floor) / 2.576
		likely, most := quantile(1e-2, scatter, floor), quantile(1e-4, scatter, floor)
		sigma := common(bound, bank.Crowd)
		if 2.576*sigma < likely {
			t.Errorf("bound %.2f s: at 99 %% the error is %.3f s, the bank says %.3f", bound, likely, 2.576*sigma)
		}
		if g := 3.891 * sigma; g < most*0.97 || g > most*wider {
			t.Errorf("bound %.2f s: at 99.99 %% the error is %.3f s, the bank says %.3f", bound, most, g)
		}
		if s := common(bound, bank.Station); s != bound*shareOfBound {
			t.Errorf("a time-signal station's bound of %.2f s is a σ of %.3f s", bound, s)
		}
	}
}
