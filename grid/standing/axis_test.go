package standing

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Whatever comes, the bound is never larger than that of the fix alone, nor than
// that of the plain mean.
func TestBestIsNeverWorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sigmas := rapid.SliceOfN(rapid.Float64Range(0.01, 300), 1, 60).Draw(t, "sigmas")
		a := first(sigmas[0])
		for _, s := range sigmas[1:] {
			a.take(rapid.Float64Range(-10, 10).Draw(t, "z"), s, time.Duration(rapid.Int64Range(-1e9, 1e13).Draw(t, "dt")))
			if _, v := a.best(); v > min(a.variance, s*s)*(1+1e-12) || !(v > 0) {
				t.Fatalf("variance %v with a mean's of %v and a fix of σ %v", v, a.variance, s)
			}
		}
	})
}

// The variance against the sum over all pairs of fixes, done plainly.
func TestVarianceIsThatOfAllPairs(t *testing.T) {
	sigmas := []float64{3, 3, 2, 8, 2, 2, 5}
	const dt = 7 * time.Minute
	a := first(sigmas[0])
	for _, s := range sigmas[1:] {
		a.take(0, s, dt)
	}
	var weights []float64
	total := 0.0
	for i, s := range sigmas {
		w := math.Exp(-float64(len(sigmas)-1-i)*dt.Hours()/6) / (s * s)
		weights, total = append(weights, w), total+w
	}
	sum := 0.0
	for i, si := range sigmas {
		for j, sj := range sigmas {
			rho := 1.0
			if i != j {
				rho = 0.25 + 0.70*math.Exp(-math.Abs(float64(i-j))*dt.Minutes()/90)
			}
			sum += weights[i] * weights[j] * si * sj * rho / (total * total)
		}
	}
	if math.Abs(a.variance-sum) > 1e-9 {
		t.Errorf("variance %v, of all pairs %v", a.variance, sum)
	}
}

// The radii against the normal integral itself, done numerically: of the mass within
// radius r along the one axis, exactly (erf), times the density of the other.
func TestRadiiHoldWhatTheySay(t *testing.T) {
	mass := func(r, a, b float64) float64 {
		const steps = 4000
		sum := 0.0
		for i := range steps {
			x := (float64(i) + 0.5) / steps * r
			sum += math.Exp(-x*x/(2*a*a)) * math.Erf(math.Sqrt(r*r-x*x)/(b*math.Sqrt2))
		}
		return sum * 2 * r / steps / (a * math.Sqrt(2*math.Pi))
	}
	for _, ratio := range []float64{1, 0.9, 0.75, 0.5, 0.25, 0.1} {
		for _, row := range []struct {
			want   float64
			radius func(a, b float64) float64
		}{{0.95, Radius95}, {0.99, Radius99}} {
			r := row.radius(5, 5*ratio)
			if got := mass(r, 5, 5*ratio); got < row.want-2e-4 {
				t.Errorf("ratio %v: %.1f m hold %.4f, not %v", ratio, r, got, row.want)
			}
			if got := mass(r/1.04, 5, 5*ratio); got > row.want {
				t.Errorf("ratio %v: %.1f m is too wide: 4 %% less hold %.4f", ratio, r, got)
			}
			if r != row.radius(5*ratio, 5) {
				t.Errorf("ratio %v: the axes are not alike", ratio)
			}
		}
	}
	if Radius95(0, 0) != 0 || math.Abs(Radius95(1, 1)-2.4477) > 1e-4 || math.Abs(Radius99(1, 1)-3.0349) > 1e-4 {
		t.Errorf("%v, %v", Radius95(1, 1), Radius99(1, 1))
	}
}
