package estimate

import (
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/timescale"
)

// However many come, X is no surer than what they share, and their own errors average out:
// σ² = common² + r/n.
func TestSharedErrorStays(t *testing.T) {
	var f Filter
	f.Forget(X, 0, 100)
	for n := 1.0; n <= 100; n++ {
		f.MeasureShared(1, 0.06, 0.05*0.05, 1)
		near(t, "variance", f.P[X][X], 0.06*0.06+0.05*0.05/n, 1e-6)
		near(t, "what is shared", f.C[X], -0.06, 1e-6)
	}
	near(t, "X", f.V[X], 1, 1e-6)
	near(t, "what the next is expected to", f.ExpectShared(0.06), 0.05*0.05/100, 1e-6)
}

// One that repeats the error of those before tells little, but for a surer one: that counts
// as it is. One that could tell by the shared error only tells nothing.
func TestRepeatedError(t *testing.T) {
	var f Filter
	f.Forget(X, 0, 100)
	f.MeasureShared(1, 0.06, 0.05*0.05, 1)
	f.MeasureShared(1, 0.06, 0.05*0.05, 9)
	near(t, "a tenth more", f.P[X][X], 0.06*0.06+0.05*0.05/(1+1.0/9), 1e-6)
	f.MeasureShared(1, 0.06, 0.02*0.02, 1e9)
	near(t, "a surer one", f.P[X][X], 0.06*0.06+0.02*0.02, 1e-6)

	f.Measure(1, Time, 1e-8)
	before := f
	f.C[X] = -f.Sigma(X)
	before.C[X] = f.C[X]
	if f.MeasureShared(1.3, 0.06, 1e-4, 1); f != before {
		t.Errorf("%+v, want what it was: %+v", f, before)
	}
}

// Owed: a state that was known by such measurements learns no more of X by another.
func TestOwedError(t *testing.T) {
	var f Filter
	f.Forget(X, 0, 0.06)
	f.Owe(X, -0.06)
	near(t, "owed", f.C[X], -0.06, 1e-12)
	f.MeasureShared(0.2, 0.06, 0.01*0.01, 1)
	near(t, "X", f.V[X], 0, 1e-9)
	f.Forget(R, 0, 0.03)
	f.Owe(R, 0.06) // a clock set by such a station: of its error no more can be shared than there is
	f.Start(0, Clock, 1e-6)
	near(t, "the clock's", f.C[X], -0.03, 1e-12)
}

// A thousand stations of all kinds: the error of each state is as large as its variance says,
// whatever is measured in between.
func TestSharedErrorIsHonest(t *testing.T) {
	const trials, common, own = 1000, 0.06, 0.04
	rng := rand.New(rand.NewPCG(7, 9))
	var sum [Num]float64
	for range trials {
		var f Filter
		shared, late, clock := common*rng.NormFloat64(), 0.2+0.3*rng.NormFloat64(), 0.5*rng.NormFloat64()
		f.Noise = Noise{X: 1e-8}
		f.Forget(Y, 0, 1e-5)
		f.Forget(D, 0.2, 0.3)
		x, y := 5*rng.NormFloat64(), 1e-5*rng.NormFloat64()
		f.Forget(X, 0, 5)
		for k := range 40 {
			x += 60*y + math.Sqrt(60e-8)*rng.NormFloat64()
			f.Advance(timescale.Local(k+1) * 60e9)
			switch {
			case k == 8:
				f.Attach(R, x+clock+1e-3*rng.NormFloat64(), -1, 1e-6)
			case k > 8 && k%3 == 0:
				f.Measure(x+clock+0.02*rng.NormFloat64(), Clock, 4e-4)
			case k%3 == 1:
				f.Measure(x-late+0.03*rng.NormFloat64(), Stream, 9e-4)
			case k == 30:
				f.Measure(x+0.05*rng.NormFloat64(), Time, 0.05*0.05)
			default:
				f.MeasureShared(x+shared+own*rng.NormFloat64(), common, own*own, 1)
			}
		}
		for i, e := range [...]float64{f.V[X] - x, f.V[Y] - y, f.V[D] - late, f.V[R] - clock} {
			sum[i] += e * e / f.P[i][i] / trials
		}
	}
	for i, v := range sum[:R+1] {
		if v < 0.85 || v > 1.15 { // ±3.4 σ of a χ² of 1,000
			t.Errorf("state %d: the error's square is %.2f of its variance", i, v)
		}
	}
}
