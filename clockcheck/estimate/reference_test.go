package estimate

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"noonmark/clockcheck/timescale"
)

// dense is the same filter as textbooks print it (x = F·x, P = F·P·Fᵀ + Q; K = P·hᵀ/s),
// on gonum's matrices: what Filter does without them must be this.
type dense struct {
	x *mat.VecDense
	p *mat.Dense
}

func denseOf(f *Filter) dense {
	d := dense{mat.NewVecDense(Num, nil), mat.NewDense(Num, Num, nil)}
	for i := range Num {
		d.x.SetVec(i, f.V[i])
		for k := range Num {
			d.p.Set(i, k, f.P[i][k])
		}
	}
	return d
}

func (d dense) apply(f mat.Matrix, q mat.Matrix) {
	var x mat.VecDense
	x.MulVec(f, d.x)
	d.x.CopyVec(&x)
	var fp, p mat.Dense
	fp.Mul(f, d.p)
	p.Mul(&fp, f.T())
	if q != nil {
		p.Add(&p, q)
	}
	d.p.Copy(&p)
}

func (d dense) advance(t float64, n Noise) {
	f, q := eye(), mat.NewDense(Num, Num, nil)
	f.Set(X, Y, t)
	f.Set(R, S, t)
	clock := func(a, b int, q1, q2 float64) {
		q.Set(a, a, q1*t+q2*t*t*t/3)
		q.Set(a, b, q2*t*t/2)
		q.Set(b, a, q2*t*t/2)
		q.Set(b, b, q2*t)
	}
	clock(X, Y, n.X, n.Y)
	clock(R, S, n.R, n.S)
	q.Set(D, D, n.D*t)
	d.apply(f, q)
}

func row(o Sight) *mat.VecDense {
	h := mat.NewVecDense(Num, nil)
	h.SetVec(X, 1)
	h.SetVec(D, o.D)
	h.SetVec(R, o.R)
	return h
}

func (d dense) measure(z float64, o Sight, r float64) {
	h := row(o)
	var ph mat.VecDense
	ph.MulVec(d.p, h)
	s := mat.Dot(h, &ph) + r
	d.x.AddScaledVec(d.x, (z-mat.Dot(h, d.x))/s, &ph)
	var gain mat.Dense
	gain.Outer(-1/s, &ph, &ph)
	d.p.Add(d.p, &gain)
}

// redefine makes state s the sum row·x + value, with the variance r of its own.
func (d dense) redefine(s int, row []float64, value, r float64) {
	f, q := eye(), mat.NewDense(Num, Num, nil)
	f.SetRow(s, row)
	q.Set(s, s, r)
	d.apply(f, q)
	d.x.SetVec(s, d.x.AtVec(s)+value)
}

func eye() *mat.Dense {
	f := mat.NewDense(Num, Num, nil)
	for i := range Num {
		f.Set(i, i, 1)
	}
	return f
}

// A random walk through all that a filter can be told agrees with the dense filter, to
// rounding; so do what it expects of a measurement and the variance ahead.
func TestAgainstTheDenseFilter(t *testing.T) {
	for seed := range uint64(30) {
		rng := rand.New(rand.NewPCG(seed, 9))
		f := Filter{Noise: Noise{X: 1e-6, Y: 2e-9, D: 3e-5, R: 2e-6, S: 1e-9}}
		for s := range Num {
			f.Forget(s, rng.NormFloat64(), 0.5+rng.Float64())
		}
		f.Forget(Y, 1e-3*rng.NormFloat64(), 1e-3)
		f.Forget(S, 1e-3*rng.NormFloat64(), 1e-3)
		d := denseOf(&f)
		for range 60 {
			step(rng, &f, d)
			same(t, seed, &f, d)
		}
		ahead := 5 + 50*rng.Float64()
		want := denseOf(&f)
		want.advance(ahead, f.Noise)
		near(t, "variance ahead", f.Ahead(ahead), want.p.At(X, X), 1e-9*want.p.At(X, X))
	}
}

func step(rng *rand.Rand, f *Filter, d dense) {
	sight := []Sight{Time, Stream, Clock}[rng.IntN(3)]
	z, r := rng.NormFloat64(), 0.01+rng.Float64()
	switch rng.IntN(6) {
	case 0:
		s := 1 + 20*rng.Float64()
		now := f.At + timescale.Local(s*1e9)
		d.advance(float64(now-f.At)/1e9, f.Noise)
		f.Advance(now)
	case 1:
		f.Measure(z, sight, r)
		d.measure(z, sight, r)
	case 2:
		gain := []float64{-1, 1, 0.5}[rng.IntN(3)]
		f.Attach(R, z, gain, r)
		d.redefine(R, []float64{X: gain, S: 0}, z, r)
	case 3:
		f.Start(z, sight, r)
		d.redefine(X, []float64{Y: 0, D: -sight.D, R: -sight.R, S: 0}, z, r)
	case 4:
		f.Shift(z)
		d.x.SetVec(X, d.x.AtVec(X)+z)
		d.x.SetVec(R, d.x.AtVec(R)-z)
	case 5:
		f.Open(D, r)
		d.p.Set(D, D, d.p.At(D, D)+r)
	}
}

func same(t *testing.T, seed uint64, f *Filter, d dense) {
	t.Helper()
	for i := range Num {
		near(t, "mean", f.V[i], d.x.AtVec(i), 1e-7*(1+math.Abs(f.V[i])))
		for k := range Num {
			near(t, "covariance", f.P[i][k], d.p.At(i, k), 1e-7*(1+math.Abs(f.P[i][k])))
		}
	}
	for _, o := range []Sight{Time, Stream, Clock, {D: -1, R: 1}} {
		mean, variance := f.Expect(o)
		h := row(o)
		var ph mat.VecDense
		ph.MulVec(d.p, h)
		near(t, "expected", mean, mat.Dot(h, d.x), 1e-7*(1+math.Abs(mean)))
		near(t, "its variance", variance, mat.Dot(h, &ph), 1e-7*(1+variance))
	}
	if t.Failed() {
		t.Fatalf("seed %d", seed)
	}
}

// An instant before its own moves a filter nowhere, and a measurement is carried to the
// filter's instant by its rate: z of 3 s before, at 1 ms/s, is 3 ms more now.
func TestInstants(t *testing.T) {
	f := Filter{At: 10e9, Base: 5e9}
	f.Forget(X, 1, 1)
	f.Forget(Y, 1e-3, 1e-3)
	before := f
	f.Advance(9e9)
	if f != before {
		t.Error("an instant before its own changed the filter")
	}
	near(t, "a measurement of 3 s before", f.Rel(7e9, 7e9), 2.003, 1e-12)
}

// Nothing measured without noise where nothing is open: no division by zero.
func TestNothingOpen(t *testing.T) {
	var f Filter
	f.Measure(1, Time, 0)
	near(t, "the mean", f.V[X], 0, 0)
	near(t, "the variance", f.P[X][X], 0, 0)
}
