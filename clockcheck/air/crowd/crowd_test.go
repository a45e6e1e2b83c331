package crowd

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// scatter draws an offset as 57 real recordings have them: half within 0.1 s of the
// median, 68 % within 0.2, 90 % within 1.0, 99 % within 1.9 s, evenly between.
func scatter(r *rand.Rand) float64 {
	edges := [...]struct{ p, s float64 }{{0, 0}, {0.5, 0.1}, {0.68, 0.2}, {0.9, 1}, {0.99, 1.9}, {1, 2.5}}
	u := r.Float64()
	for i := 1; i < len(edges); i++ {
		a, b := edges[i-1], edges[i]
		if u <= b.p {
			v := a.s + (b.s-a.s)*(u-a.p)/(b.p-a.p)
			return math.Copysign(v, r.Float64()-0.5)
		}
	}
	return 2.5
}

// TestCoverage: the statistical bound holds in 99 % of crowds that scatter as real ones.
func TestCoverage(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	r := rand.New(rand.NewPCG(1, 2))
	allClaims, allHeld := 0, 0
	for _, n := range []int{5, 7, 10, 20, 40} {
		const rounds = 150
		claims, held, sum := 0, 0, 0.0
		for range rounds {
			true_, x := 14*r.Float64()-7, make([]float64, n)
			for i := range x {
				x[i] = math.Remainder(true_+scatter(r), 15)
			}
			o, err := Of(x, 15)
			if err != nil {
				continue
			}
			claims++
			sum += o.BoundS
			if math.Abs(math.Remainder(o.OffsetS-true_, 15)) <= o.BoundS-Floor {
				held++
			}
		}
		t.Logf("%d stations: %d of %d claimed, %d held, mean bound %.2f s", n, claims, rounds, held, sum/float64(claims))
		if claims < rounds/2 {
			t.Errorf("%d stations: %d of %d claimed", n, claims, rounds)
		}
		allClaims, allHeld = allClaims+claims, allHeld+held
	}
	if float64(allHeld) < 0.985*float64(allClaims) {
		t.Errorf("%d of %d held", allHeld, allClaims)
	}
}

func TestNoCrowd(t *testing.T) {
	if _, err := Of([]float64{0.1, 0.1, 0.1, 0.1}, 15); !errors.Is(err, ErrFew) {
		t.Errorf("four stations: %v", err)
	}
	if o, err := Of([]float64{-6, -3, 0, 3, 6}, 15); !errors.Is(err, ErrScattered) {
		t.Errorf("five that do not agree: %+v, %v", o, err)
	}
	if o, err := Of([]float64{0, 0.02, 0.01, 1, 1.01, 0.99}, 15); err == nil && o.BoundS < 0.9 {
		t.Errorf("two camps: %+v", o)
	}
}

// FuzzOf: whatever the offsets are, a claim has a bound.
func FuzzOf(f *testing.F) {
	f.Add(uint64(1), 6)
	f.Fuzz(func(t *testing.T, seed uint64, n int) {
		r := rand.New(rand.NewPCG(seed, 0))
		x := make([]float64, min(max(n, 0), 50))
		for i := range x {
			x[i] = r.NormFloat64() * math.Pow(10, 4*r.Float64()-2)
		}
		o, err := Of(x, 15)
		if err == nil && !(o.BoundS >= Floor && o.BoundS < mostBound+Floor+1e-9 && len(x) >= Least) {
			t.Errorf("%v: %+v", x, o)
		}
	})
}
