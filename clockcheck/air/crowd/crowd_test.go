package crowd

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
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

// Two groups that each agree are told from one with stragglers, wherever in the period they are.
func TestTwoTimes(t *testing.T) {
	group := func(n int, at float64) (x []float64) {
		for i := range n {
			x = append(x, math.Remainder(at+0.03*float64(i-n/2), 15))
		}
		return x
	}
	for _, c := range []struct {
		n, rival int
		at       float64
		two      bool
	}{
		{5, 5, 5, true}, {5, 3, 5, true}, {6, 3, -7.4, true}, {7, 3, 5, false}, {8, 4, 1, true}, {9, 4, 1, false},
		{6, 3, 0.45, true}, {6, 3, 0.2, false}, {5, 2, 5, false}, {5, 1, 5, false},
	} {
		for _, base := range []float64{0, 7.4} {
			x := append(group(c.n, base), group(c.rival, base+c.at)...)
			o, err := Of(x, 15)
			if errors.Is(err, ErrTwo) != c.two {
				t.Errorf("%d at %v s and %d at %v: %+v, %v", c.n, base, c.rival, base+c.at, o, err)
			}
			var n, rival int
			var away float64
			if c.two && c.n > c.rival { // and how far apart they are; a middle is that of a station
				said := err.Error()[strings.LastIndex(err.Error(), ": "):]
				if _, err := fmt.Sscanf(said, ": %d on one, %d on another %f s away", &n, &rival, &away); err != nil || n != c.n || rival != c.rival || math.Abs(away-math.Abs(c.at)) > 0.1501 {
					t.Errorf("%d at %v s and %d at %v: %q", c.n, base, c.rival, base+c.at, said)
				}
			}
		}
	}
}

// Five hundred stations' densities are multiplied, each of any size: the answer stays a number, and
// the first of two equal ones is taken.
func TestManyStations(t *testing.T) {
	var x []float64
	for i := range 500 {
		x = append(x, 0.3+0.001*float64(i%100-50))
	}
	if o, err := Of(x, 15); err != nil || math.Abs(o.OffsetS-0.3) > 0.011 || o.BoundS < Floor || o.BoundS > Floor+0.03 {
		t.Errorf("%+v, %v", o, err)
	}
	if o, err := Of([]float64{-1.4, -0.7, 0, 0.7, 1.4}, 15); !errors.Is(err, ErrScattered) {
		t.Errorf("%+v, %v", o, err)
	}
}
