package estimate

import (
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/timescale"
)

func near(t *testing.T, what string, got, want, off float64) {
	t.Helper()
	if math.Abs(got-want) > off {
		t.Errorf("%s is %v, want %v ± %v", what, got, want, off)
	}
}

// Between measurements the variance is the closed form of the two-state clock
// (Zucca and Tavella 2005), in one stride or in many, and Ahead is the same.
func TestVarianceOfTheTwoStateClock(t *testing.T) {
	n := Noise{X: 1e-16, Y: 1e-16, D: 2.8e-8, R: 1e-14, S: 3e-19}
	f := Filter{Noise: n}
	f.Forget(X, 0, 0.01)
	f.Forget(Y, 0, 1e-6)
	const T = 7200.0
	want := 0.01*0.01 + T*T*1e-12 + n.X*T + n.Y*T*T*T/3
	near(t, "ahead", f.Ahead(T), want, 1e-12)
	for k := 1; k <= 720; k++ {
		f.Advance(timescale.Local(k) * 10e9)
	}
	near(t, "strides", f.P[X][X], want, 1e-9)
	near(t, "rate", f.P[Y][Y], 1e-12+n.Y*T, 1e-16)
	near(t, "lateness", f.P[D][D], n.D*T, 1e-9)
}

// Measuring a constant N times with white noise leaves σ²/N.
func TestAveraging(t *testing.T) {
	var f Filter
	f.Forget(X, 0, 1e3)
	for range 100 {
		f.Measure(1, Time, 0.01)
	}
	near(t, "variance", f.P[X][X], 0.01/100, 1e-9)
	near(t, "mean", f.V[X], 1, 1e-6)
}

// What all readings of a source share does not average away.
func TestCommonErrorStays(t *testing.T) {
	var f Filter
	f.Forget(X, 0, 1e3)
	for range 1000 {
		f.MeasureCommon(1, 0.1)
	}
	if s := f.Sigma(X); s < 0.0999 {
		t.Errorf("a thousand answers of one server leave %v s, want no less than its 0.1", s)
	}
}

// Start and Attach keep what is shared: a stream that defined X says nothing of its
// own lateness however often it is heard.
func TestStartSharesTheLateness(t *testing.T) {
	var f Filter
	f.Forget(D, 0.3, 0.45)
	f.Start(-0.1, Stream, 1e-4)
	near(t, "X", f.V[X], 0.2, 1e-12)
	near(t, "variance", f.P[X][X], 0.45*0.45+1e-4, 1e-12)
	for range 100 {
		f.Measure(-0.1, Stream, 1e-4)
	}
	near(t, "lateness stays open", f.Sigma(D), 0.45, 1e-3)
	f.MeasureCommon(0.02, 0.01) // a witness tells X, and so the lateness
	near(t, "lateness", f.V[D], 0.12, 1e-3)
	near(t, "its sigma", f.Sigma(D), 0.01, 5e-3)
	f.Attach(R, 5, -1, 1e-6)
	mean, v := f.Expect(Clock)
	near(t, "the clock as seen", mean, 5, 1e-9)
	near(t, "its variance", v, 1e-6, 1e-9)
}

// The same measurements at one instant give the same in any order.
func TestOrderAtOneInstant(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	type m struct {
		z, r float64
		o    Sight
	}
	all := []m{{0.3, 0.01, Time}, {-0.1, 1e-4, Stream}, {5.2, 1e-6, Clock}, {0.28, 0.04, Time}}
	var first Filter
	for round := range 20 {
		var f Filter
		f.Forget(X, 0, 1)
		f.Forget(D, 0.3, 0.45)
		f.Forget(R, 5, 2)
		for _, i := range rng.Perm(len(all)) {
			f.Measure(all[i].z, all[i].o, all[i].r)
		}
		if round == 0 {
			first = f
			continue
		}
		for i := range f.V {
			near(t, "mean", f.V[i], first.V[i], 1e-9)
			for k := range f.V {
				near(t, "covariance", f.P[i][k], first.P[i][k], 1e-9)
			}
		}
	}
}
