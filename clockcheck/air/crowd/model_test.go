package crowd

import (
	"errors"
	"math"
	"math/rand/v2"
	"sort"
	"strings"
	"testing"
	"time"
)

// byTheModel is the offset and the bound, without Floor, of the model as it is written above crowd.go's numbers: on another
// grid, with the densities themselves, and the quantiles between the grid's places.
func byTheModel(x []float64, period float64) (offset, bound float64) {
	sorted := append([]float64(nil), x...)
	sort.Float64s(sorted)
	mid, most := 0.0, 0
	for _, c := range sorted {
		n := 0
		for _, v := range x {
			if math.Abs(math.Remainder(v-c, period)) <= 0.2 {
				n++
			}
		}
		if n > most {
			mid, most = c, n
		}
	}
	const fine = 0.002
	var at, p []float64
	sum := 0.0
	for v := -1.5; v <= 1.5; v += fine {
		total := 0.0
		for _, b := range []float64{0.03, 0.045, 0.07, 0.11, 0.16, 0.24, 0.36} {
			density := 1.0
			for _, xi := range x {
				d := math.Remainder(xi-mid, period) - v
				density *= 0.80*math.Exp(-math.Abs(d)/b)/(2*b) + 0.18*math.Exp(-d*d/2.42)/(1.1*math.Sqrt(2*math.Pi)) + 0.02/period
			}
			total += density
		}
		at, p, sum = append(at, v), append(p, total), sum+total
	}
	quantile := func(q float64) float64 {
		s := 0.0
		for i := range p {
			if s += p[i] / sum; s >= q {
				return at[i]
			}
		}
		return 1.5
	}
	m := quantile(0.5)
	return mid + m, math.Max(quantile(0.995)-m, m-quantile(0.005))
}

// TestModel: the offset and its bound are those of the model, to the grid's step.
func TestModel(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	claims := 0
	for i := range 24 {
		period := [...]float64{6, 15, 30}[i%3]
		x, truth := make([]float64, 5+r.IntN(36)), period*(r.Float64()-0.5)
		for k := range x {
			x[k] = math.Remainder(truth+scatter(r), period)
		}
		offset, bound := byTheModel(x, period)
		o, err := Of(x, period)
		if o.Signals != len(x) {
			t.Errorf("%d of %d signals", o.Signals, len(x))
		}
		if err != nil {
			if bound < mostBound-2*step {
				t.Errorf("%v: refused, the model's bound is %.3f s: %v", x, bound, err)
			}
			continue
		}
		claims++
		if math.Abs(o.OffsetS-offset) > 1.5*step || o.BoundS-Floor < bound-step || o.BoundS-Floor > bound+3*step || o.BoundS > mostBound+Floor {
			t.Errorf("%d offsets, period %.0f s: %+v, by the model %.3f ± %.3f s", len(x), period, o, offset, bound)
		}
	}
	if claims < 16 {
		t.Errorf("%d claims of 24: the test shows little", claims)
	}
}

// TestByHandReads: what is typed, in the forms in which programs show it.
func TestByHandReads(t *testing.T) {
	const period = 15 * time.Second
	plain, err := Of([]float64{0.8, 0.9, 0.7, 0.8, -1}, 15)
	if err != nil {
		t.Fatal(err)
	}
	o, err := ByHand([]string{"0.8", "+0,9;", "0.7s,", "0.8", "−1"}, "FT8", period, 0)
	if err != nil || o.OffsetS != plain.OffsetS || math.Abs(o.BoundS-plain.BoundS-0.05) > 1e-9 || o.Signals != 5 {
		t.Errorf("%+v, %v; want %+v and half of what is shown", o, err, plain)
	}
	if d, err := ByHand([]string{"0.8", "0.9", "0.7", "0.8", "-1"}, "FT4", period, 152*time.Millisecond); err != nil || math.Abs(d.BoundS-o.BoundS-0.152) > 1e-9 {
		t.Errorf("with doubt: %+v, %v", d, err)
	}
	for _, bad := range []string{"x", "", "NaN", "Inf", "7.6", "-7.6", "0.8.1", "1e400"} {
		if _, err := ByHand([]string{"0.8", "0.9", "0.7", "0.8", bad}, "FT8", period, 0); err == nil || !strings.Contains(err.Error(), "is not an offset of FT8 in seconds, from -7.5 to 7.5") {
			t.Errorf("%q: %v", bad, err)
		}
	}
	if _, err := ByHand([]string{"7.5", "7.5", "-7.5", "7.4", "-7.4"}, "FT8", period, 0); err != nil {
		t.Errorf("around the end of a period: %v", err)
	}
	if _, err := ByHand([]string{"1", "1", "1", "1"}, "FT8", period, 0); !errors.Is(err, ErrFew) || !strings.Contains(err.Error(), "4 offsets, each of another station, where 5 are the least") {
		t.Errorf("four: %v", err)
	}
	if _, err := ByHand([]string{"-6", "-3", "0", "3", "6"}, "FT8", period, 0); !errors.Is(err, ErrScattered) || !strings.Contains(err.Error(), "mistyped sign") {
		t.Errorf("scattered: %v", err)
	}
}

// TestAfterAStep: offsets read off before a step of the clock are of another clock, for three minutes.
func TestAfterAStep(t *testing.T) {
	if err := AfterStep(3 * time.Minute); err != nil {
		t.Error(err)
	}
	if err := AfterStep(170500 * time.Millisecond); err == nil || !strings.Contains(err.Error(), "stepped 170 s ago") || !strings.Contains(err.Error(), "Wait 10 s") {
		t.Error(err)
	}
}
