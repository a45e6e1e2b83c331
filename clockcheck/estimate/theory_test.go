package estimate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/stability"
	"noonmark/clockcheck/timescale"
)

func at(s float64) timescale.Local { return timescale.Local(math.Round(s * 1e9)) }

// phases draws a phase record, one sample for each dt seconds, from the process noise that
// the filter assumes.
func phases(rng *rand.Rand, n int, dt, q1, q2 float64) []float64 {
	f := Filter{Noise: Noise{X: q1, Y: q2}}
	f.Advance(at(dt))
	// Cholesky, the frequency first.
	ly := math.Sqrt(f.P[Y][Y])
	lxy := f.P[X][Y] / ly
	lx := math.Sqrt(f.P[X][X] - lxy*lxy)
	x, y := make([]float64, n), 0.0
	for i := 1; i < n; i++ {
		u, v := rng.NormFloat64(), rng.NormFloat64()
		x[i] = x[i-1] + y*dt + lxy*u + lx*v
		y += ly * u
	}
	return x
}

// The two-state clock has σy²(τ) = q1/τ + q2·τ/3 (Zucca and Tavella, Metrologia 42, 2005):
// what the filter adds to its covariance, drawn and measured by the functions of NIST
// SP 1065, must have that.
func TestProcessNoiseIsTheClockModel(t *testing.T) {
	for _, c := range []struct{ q1, q2, dt float64 }{{1e-18, 1e-24, 1}, {1e-16, 3e-17, 1}, {1e-16, 1e-16, 0.01}, {1e-16, 1e-16, 60}} {
		rng := rand.New(rand.NewPCG(3, 5))
		const runs, n = 200, 1001
		for _, m := range []int{1, 10, 100} {
			sum := 0.0
			for range runs {
				a := stability.OverlappingAllan(phases(rng, n, c.dt, c.q1, c.q2), c.dt, m)
				sum += a * a
			}
			tau := float64(m) * c.dt
			got, want := sum/runs, c.q1/tau+c.q2*tau/3
			freedom := math.Min(stability.Freedom(stability.WhiteFM, n, m), stability.Freedom(stability.RandomWalkFM, n, m))
			if tol := 4 * math.Sqrt(2/(freedom*runs)); math.Abs(got/want-1) > tol {
				t.Errorf("q1 %g q2 %g τ %g s: σy² %.3g, want %.3g within %.1f %%", c.q1, c.q2, tau, got, want, tol*100)
			}
		}
	}
}

// Steady-state gains for piecewise constant acceleration (Kalata, IEEE Trans. AES-20,
// 1984): Λ = σw·T²/σv, r = (4 + Λ − √(8Λ + Λ²))/4, α = 1 − r², β = 2(2 − α) − 4√(1 − α).
// The filter, run to its steady state, must have them.
func TestSteadyStateGains(t *testing.T) {
	for _, c := range []struct {
		index       float64
		alpha, beta string
	}{{0.01, "0.131851", "0.009317"}, {0.1, "0.360000", "0.080000"}, {1, "0.750000", "0.500000"}, {3, "0.901492", "0.941578"}} {
		const T, sigma = 2.0, 0.01
		w := c.index * sigma / (T * T)
		var f Filter
		f.P[X][X], f.P[Y][Y] = 1, 1
		for range 3000 {
			f.shear(X, Y, T)
			g := [2]float64{T * T / 2, T}
			for i, s := range []int{X, Y} {
				for k, u := range []int{X, Y} {
					f.P[s][u] += g[i] * g[k] * w * w
				}
			}
			f.V[X], f.V[Y] = 0, 0
			f.Measure(1, Time, sigma*sigma) // the states become the gains
		}
		alpha, beta := fmt.Sprintf("%.6f", f.V[X]), fmt.Sprintf("%.6f", f.V[Y]*T)
		if alpha != c.alpha || beta != c.beta {
			t.Errorf("Λ = %g: gains %s, %s; want %s, %s", c.index, alpha, beta, c.alpha, c.beta)
		}
	}
}

// N equally spaced readings with white noise σ give the rate to (σ/τ0)·√(12/(N(N²−1))):
// least squares, which the filter must equal when the oscillator is perfect. A minute at
// 20 ms gives 149 ppm, an hour 0.32 ppm.
func TestSlope(t *testing.T) {
	for _, c := range []struct {
		n   int
		ppm float64
	}{{60, 149.1}, {3600, 0.3208}, {6 * 3600, 0.02182}} {
		var f Filter
		f.P[X][X], f.P[Y][Y] = 1e6, 1
		for i := range c.n {
			if i > 0 {
				f.shear(X, Y, 1)
			}
			f.Measure(0, Time, 0.020*0.020)
		}
		n := float64(c.n)
		formula := 0.020 * math.Sqrt(12/(n*(n*n-1)))
		if got := f.Sigma(Y); math.Abs(got/formula-1) > 1e-3 || math.Abs(got*1e6/c.ppm-1) > 1e-3 {
			t.Errorf("%d readings: %.4g ppm, formula %.4g, table %g", c.n, got*1e6, formula*1e6, c.ppm)
		}
	}
}

// A clock that is off by so many ppm reaches a tolerance after tolerance/rate.
func TestHoldoverTable(t *testing.T) {
	for _, row := range []struct {
		ppm, perDay float64
		hours       [5]float64 // to 0.1, 0.25, 0.5, 1 and 2 s
	}{
		{0.1, 0.00864, [5]float64{278, 694, 1389, 2778, 5556}},
		{1, 0.0864, [5]float64{27.8, 69.4, 139, 278, 556}},
		{2, 0.173, [5]float64{13.9, 34.7, 69.4, 139, 278}},
		{3.5, 0.302, [5]float64{7.94, 19.8, 39.7, 79.4, 159}},
		{10, 0.864, [5]float64{2.78, 6.94, 13.9, 27.8, 55.6}},
		{50, 4.32, [5]float64{0.56, 1.39, 2.78, 5.56, 11.1}},
		{100, 8.64, [5]float64{0.28, 0.69, 1.39, 2.78, 5.56}},
	} {
		var f Filter
		f.V[Y] = row.ppm * 1e-6
		f.Advance(at(86400))
		if math.Abs(f.V[X]/row.perDay-1) > 0.005 {
			t.Errorf("%g ppm: %.4g s in a day, want %g", row.ppm, f.V[X], row.perDay)
		}
		for i, tol := range []float64{0.1, 0.25, 0.5, 1, 2} {
			f.V[X], f.At = 0, 0
			f.Advance(at(row.hours[i] * 3600))
			if math.Abs(f.V[X]/tol-1) > 0.02 {
				t.Errorf("%g ppm: %.4g s after %g h, want %g", row.ppm, f.V[X], row.hours[i], tol)
			}
		}
	}
}
