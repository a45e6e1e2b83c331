package clockcheck

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/stability"
	"noonmark/clockcheck/timescale"
)

// phases draws a phase record, one sample for each dt seconds, from the process
// noise that the filter assumes.
func phases(rng *rand.Rand, n int, dt, q1, q2 float64) []float64 {
	var f filter
	f.noise(sX, sY, dt, q1, q2)
	// Cholesky, the frequency first.
	ly := math.Sqrt(f.p[sY][sY])
	lxy := f.p[sX][sY] / ly
	lx := math.Sqrt(f.p[sX][sX] - lxy*lxy)
	x, y := make([]float64, n), 0.0
	for i := 1; i < n; i++ {
		u, v := rng.NormFloat64(), rng.NormFloat64()
		x[i] = x[i-1] + y*dt + lxy*u + lx*v
		y += ly * u
	}
	return x
}

// The two-state clock has σy²(τ) = q1/τ + q2·τ/3 (Zucca and Tavella, Metrologia
// 42, 2005): what the filter adds to its covariance, drawn and measured by the
// functions of NIST SP 1065, must have that.
func TestProcessNoiseIsTheClockModel(t *testing.T) {
	for _, c := range []struct{ q1, q2, dt float64 }{
		{1e-18, 1e-24, 1}, {q1X, q2X, 1}, {q1X, q2X, 0.01}, {q1X, q2X, 60},
	} {
		rng := rand.New(rand.NewPCG(3, 5))
		const runs, n = 200, 1001
		for _, m := range []int{1, 10, 100} {
			sum := 0.0
			for range runs {
				sum += sq(stability.OverlappingAllan(phases(rng, n, c.dt, c.q1, c.q2), c.dt, m))
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

// known2 is a filter with a covariance of x and y, and the latency beside it.
func known2(pxx, pxy, pyy float64) filter {
	var f filter
	f.p[sX][sX], f.p[sX][sY], f.p[sY][sX], f.p[sY][sY] = pxx, pxy, pxy, pyy
	f.p[sD][sD], f.p[sX][sD], f.p[sD][sX] = 4e-4, 1e-4, 1e-4
	return f
}

// The prediction T ahead: P11 + 2T·P12 + T²·P22 + q1·T + q2·T³/3. It must not
// matter whether time passes in one step or in many, nor whether the variance is
// foretold or come true.
func TestPrediction(t *testing.T) {
	f := known2(4e-6, -3e-10, 9e-14)
	for _, T := range []float64{0.5, 60, 3600, 43200} {
		want := 4e-6 - 2*T*3e-10 + T*T*9e-14 + q1X*T + q2X*T*T*T/3
		once, often := f, f
		once.advance(seconds2local(T))
		for i := range 1000 {
			often.advance(seconds2local(T * float64(i+1) / 1000))
		}
		for name, got := range map[string]float64{"ahead": f.predictVariance(T, sNo, 0), "one step": once.p[sX][sX], "1000 steps": often.p[sX][sX]} {
			if math.Abs(got/want-1) > 1e-6 {
				t.Errorf("%s: variance after %g s is %g, want %g", name, T, got, want)
			}
		}
		_, v := once.sum(sD, -1)
		if got := f.predictVariance(T, sD, -1); math.Abs(got/v-1) > 1e-9 {
			t.Errorf("x − latency after %g s: foretold %g, come true %g", T, got, v)
		}
	}
}

// Steady-state gains for piecewise constant acceleration (Kalata, IEEE Trans.
// AES-20, 1984): Λ = σw·T²/σv, r = (4 + Λ − √(8Λ + Λ²))/4, α = 1 − r²,
// β = 2(2 − α) − 4√(1 − α). The filter, run to its steady state, must have them.
func TestSteadyStateGains(t *testing.T) {
	for _, c := range []struct {
		index       float64
		alpha, beta string
	}{{0.01, "0.131851", "0.009317"}, {0.1, "0.360000", "0.080000"}, {1, "0.750000", "0.500000"}, {3, "0.901492", "0.941578"}} {
		const T, sigma = 2.0, 0.01
		w := c.index * sigma / (T * T)
		var f filter
		f.p[sX][sX], f.p[sY][sY] = 1, 1
		for range 3000 {
			f.shear(sX, sY, T)
			g := [2]float64{T * T / 2, T}
			for i, s := range []int{sX, sY} {
				for k, u := range []int{sX, sY} {
					f.p[s][u] += g[i] * g[k] * w * w
				}
			}
			f.v[sX], f.v[sY] = 0, 0
			f.measure(1, sNo, 0, sigma*sigma) // the states become the gains
		}
		alpha, beta := fmt.Sprintf("%.6f", f.v[sX]), fmt.Sprintf("%.6f", f.v[sY]*T)
		if alpha != c.alpha || beta != c.beta {
			t.Errorf("Λ = %g: gains %s, %s; want %s, %s", c.index, alpha, beta, c.alpha, c.beta)
		}
	}
}

// N equally spaced readings with white noise σ give the rate to
// (σ/τ0)·√(12/(N(N²−1))): least squares, which the filter must equal when the
// oscillator is perfect. A minute at 20 ms gives 149 ppm, an hour 0.32 ppm.
func TestSlope(t *testing.T) {
	for _, c := range []struct {
		n   int
		ppm float64
	}{{60, 149.1}, {3600, 0.3208}, {6 * 3600, 0.02182}} {
		var f filter
		f.p[sX][sX], f.p[sY][sY] = 1e6, 1
		for i := range c.n {
			if i > 0 {
				f.shear(sX, sY, 1)
			}
			f.measure(0, sNo, 0, sq(0.020))
		}
		n := float64(c.n)
		formula := 0.020 * math.Sqrt(12/(n*(n*n-1)))
		if got := f.sigma(sY); math.Abs(got/formula-1) > 1e-3 || math.Abs(got*1e6/c.ppm-1) > 1e-3 {
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
		{5, 0.432, [5]float64{5.56, 13.9, 27.8, 55.6, 111}},
		{10, 0.864, [5]float64{2.78, 6.94, 13.9, 27.8, 55.6}},
		{20, 1.73, [5]float64{1.39, 3.47, 6.94, 13.9, 27.8}},
		{50, 4.32, [5]float64{0.56, 1.39, 2.78, 5.56, 11.1}},
		{100, 8.64, [5]float64{0.28, 0.69, 1.39, 2.78, 5.56}},
	} {
		var f filter
		f.v[sY] = row.ppm * 1e-6
		f.advance(seconds2local(86400))
		if math.Abs(f.v[sX]/row.perDay-1) > 0.005 {
			t.Errorf("%g ppm: %.4g s in a day, want %g", row.ppm, f.v[sX], row.perDay)
		}
		for i, tol := range []float64{0.1, 0.25, 0.5, 1, 2} {
			f.v[sX], f.at = 0, 0
			f.advance(seconds2local(row.hours[i] * 3600))
			if math.Abs(f.v[sX]/tol-1) > 0.02 {
				t.Errorf("%g ppm: %.4g s after %g h, want %g", row.ppm, f.v[sX], row.hours[i], tol)
			}
		}
	}
}

// "Good for" is the solution of |error + drift·t| + g(t) = tolerance: g is z·σ(t), with the
// variance of the prediction above, or what a step of the rate makes of a smaller one.
// Solved here by small steps.
func TestGoodForSolvesThePrediction(t *testing.T) {
	const pxx, pyy, tol, err, rate = 1e-4, 4e-14, 1.0, 0.05, -8e-6
	j := New(Config{}, Learned{})
	j.f = known2(pxx, 0, pyy)
	j.f.v[sY] = rate
	j.x = known{known: true, dateProved: true, support: supportNetwork, ancestry: ancServer}
	want := 0.0
	for T := 0.0; ; T++ {
		sd := math.Sqrt(pxx + T*T*pyy + q1X*T + q2X*T*T*T/3)
		if err-rate*T+math.Max(guardZ*sd, stepMost*T+stepZ*sd) > tol {
			want = T - 1
			break
		}
	}
	if got := j.goodFor(err, tol); math.Abs(got-want) > 1 {
		t.Errorf("good for %.0f s, want %.0f", got, want)
	}
}

func seconds2local(s float64) timescale.Local { return timescale.Local(math.Round(s * 1e9)) }

// The stated variance must be that of the error: oscillators and latencies are
// drawn from the noises that the filter assumes, and the squared error over the
// variance must be 1 in the mean.
func TestVarianceIsHonest(t *testing.T) {
	const runs, seconds, jitter, latency = 400, 3 * 3600, 0.008, 0.01
	rng := rand.New(rand.NewPCG(11, 13))
	var square, claimed float64
	for range runs {
		x := phases(rng, seconds, 1, q1X, q2X)
		d := latency * rng.NormFloat64()
		f := filter{qD: qD}
		f.p[sX][sX], f.p[sD][sD] = 1, sq(latency)
		for i := range x {
			f.advance(seconds2local(float64(i)))
			f.measure(x[i]-d+jitter*rng.NormFloat64(), sD, -1, sq(jitter))
			d += math.Sqrt(qD) * rng.NormFloat64()
		}
		square += sq(f.v[sX] - x[len(x)-1])
		claimed = f.p[sX][sX]
	}
	if got := square / runs / claimed; math.Abs(got-1) > 4*math.Sqrt(2.0/runs) {
		t.Errorf("squared error over variance is %.2f: sigma %.4f s, error %.4f s", got, math.Sqrt(claimed), math.Sqrt(square/runs))
	}
}

// A stream that may tell no rate yet, beside a hardware clock: the two together tell only
// the sum of what is unknown of both rates, however often they are read. So neither rate
// may ever seem better known than one reading of that sum without noise would make it:
// 1/σ² = 1/σ₁² + 1/σ₂², and the estimate takes of the sum the share of its variance.
func TestNoRateFromWhatTellsNone(t *testing.T) {
	const y, s, jitter, hour = 53e-6, -19e-6, 0.03, 3600
	const sigmaS = 45e-6
	rng := rand.New(rand.NewPCG(17, 19))
	f := filter{qD: qD}
	f.forget(sY, 0, rateSigma)
	f.forget(sD, latencyMean, latencySigma)
	f.forget(sS, 0, sigmaS)
	f.start(-0.5, sD, sq(jitter))
	f.attach(sR, 0, -1, sq(0.001))
	first := f.v[sR] + f.v[sX]
	for i := 1; i <= hour; i++ {
		f.advance(seconds2local(float64(i)))
		f.measureStream(y*float64(i)-0.5+jitter*rng.NormFloat64(), sq(jitter), 1e-3)
		if i%60 == 0 {
			f.measure(first+(y+s)*float64(i)+0.001*rng.NormFloat64(), sR, 1, sq(0.001))
		}
	}
	total := 1 / (sq(rateSigma) + sq(sigmaS))
	for _, c := range []struct {
		state int
		of    string
		share float64
	}{{sY, "oscillator", sq(rateSigma) * total}, {sS, "hardware clock", sq(sigmaS) * total}} {
		least := rateSigma * sigmaS * math.Sqrt(total)
		if got := f.sigma(c.state); got < 0.98*least {
			t.Errorf("%s: σ %.1f ppm, cannot be below %.1f", c.of, got*1e6, least*1e6)
		}
		if got, want := f.v[c.state], c.share*(y+s); math.Abs(got-want) > 2e-6 {
			t.Errorf("%s: rate %.1f ppm, want %.1f", c.of, got*1e6, want*1e6)
		}
	}
}
