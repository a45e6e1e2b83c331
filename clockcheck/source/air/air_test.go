package air

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/bank"
)

func TestFloorIsThatOfTheCrowd(t *testing.T) {
	if floor != crowd.Floor {
		t.Errorf("the crowd's floor is %v s, %v here", crowd.Floor, floor)
	}
}

// A crowd's bound is a Gaussian part, at 99 %, and a range. By draws, what is taken for it
// covers both at 99 % and at 99.99 %; and is wider at 99.99 % by a quarter at most, but for a
// crowd so large that the range is nearly all of it.
func TestSigmaOfACrowd(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const draws = 200000
	for bound, wider := range map[float64]float64{0.14: 1.6, 0.2: 1.25, 0.3: 1.25, 0.6: 1.25} {
		all := make([]float64, draws)
		for i := range all {
			all[i] = math.Abs(rng.NormFloat64()*(bound-floor)/2.576 + (2*rng.Float64()-1)*floor)
		}
		slices.Sort(all)
		sigma := common(bound, bank.Crowd)
		likely, most := all[draws*99/100], all[draws-draws/10000]
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
