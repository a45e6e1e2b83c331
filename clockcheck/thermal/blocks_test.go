package thermal

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
)

// reference is the slope's filter in matrices, of gonum: x' = F·x, P' = F·P·Fᵀ + Q, and the
// update of a scalar measurement (Kalman's equations as in any handbook).
type reference struct {
	v *mat.VecDense
	p *mat.Dense
}

func (f *reference) predict(dt, d, wander float64) {
	phi := mat.NewDense(3, 3, []float64{1, dt, d * dt, 0, 1, 0, 0, 0, 1})
	q := mat.NewDense(3, 3, []float64{
		wander*dt + rateWalk*dt*dt*dt/3, rateWalk * dt * dt / 2, 0,
		rateWalk * dt * dt / 2, rateWalk * dt, 0,
		0, 0, 0})
	var v mat.VecDense
	v.MulVec(phi, f.v)
	var a, b mat.Dense
	a.Mul(phi, f.p)
	b.Mul(&a, phi.T())
	b.Add(&b, q)
	f.v, f.p = &v, &b
}

func (f *reference) update(z, r float64) {
	h := mat.NewVecDense(3, []float64{1, 0, 0})
	var ph mat.VecDense
	ph.MulVec(f.p, h)
	v := mat.Dot(h, &ph) + r
	f.v.AddScaledVec(f.v, (z-f.v.AtVec(0))/v, &ph)
	var out mat.Dense
	out.Outer(1/v, &ph, &ph)
	f.p.Sub(f.p, &out)
}

// The filter against one in matrices, on blocks inside the gate.
func TestSlopeAgainstMatrices(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	s := newSlope(Kept{})
	y := Rate{Mean: 2e-6, Variance: sq(1e-6)}
	s.take(local(0), 0.01, 20, 1e-6, y)
	f := &reference{mat.NewVecDense(3, []float64{0.01, 2e-6, 0}), mat.NewDense(3, 3, []float64{1e-6, 0, 0, 0, sq(1e-6), 0, 0, 0, sq(unlearned)})}
	at, was, x := time.Duration(0), 20.0, 0.01
	for range 400 {
		dt := 600 + 600*rng.Float64()
		at += time.Duration(dt * 1e9)
		c := was + rng.NormFloat64()
		mid := (was+c)/2 - 20
		x += (2e-6 - 0.3e-6*mid) * dt
		z := x + 1e-3*rng.NormFloat64()
		f.predict(dt, mid, min(max(s.wander, wanderLeast), wanderMost))
		f.update(z, 1e-6)
		s.take(local(at), z, c, 1e-6, y)
		was = c
	}
	for i := range 3 {
		if want := f.v.AtVec(i); !near(s.v[i], want, 1e-9*math.Abs(want)) {
			t.Errorf("state %d: %g, want %g", i, s.v[i], want)
		}
		for k := range 3 {
			if want := f.p.At(i, k); !near(s.p[i][k], want, 1e-6*math.Sqrt(f.p.At(i, i)*f.p.At(k, k))) {
				t.Errorf("covariance %d, %d: %g, want %g", i, k, s.p[i][k], want)
			}
		}
	}
	if k, _, ok := s.learned(); !ok || !near(k, -0.3e-6, 0.05e-6) {
		t.Errorf("learned %g per °C (%v), the truth is -0.3e-6", k, ok)
	}
}

// Ten minutes of readings make one block: its mean, at its middle, of a variance that falls
// with the number down to a ninth. A hole, another source or another base ends it.
func TestBlocks(t *testing.T) {
	feed := func(s *slope, source string, base int64, from, to time.Duration) {
		for at := from; at <= to; at += time.Minute {
			s.feed(source, base, local(at), at.Seconds()*1e-6, 1e-4, 20+at.Minutes(), Rate{Mean: 1e-6, Variance: 1e-12})
		}
	}
	s := newSlope(Kept{})
	if feed(&s, "gnss", 0, 0, 9*time.Minute); s.begun || s.block.n != 10 {
		t.Fatalf("before ten minutes: %+v", s.block)
	}
	feed(&s, "gnss", 0, 10*time.Minute, 10*time.Minute)
	if !s.have || s.block.n != 0 || s.at != local(5*time.Minute) || !near(s.v[0], 300e-6, 1e-12) || !near(s.c0, 25, 1e-9) || s.v[1] != 1e-6 || s.p[1][1] != 1e-12 {
		t.Errorf("the first block: %+v", s)
	}
	if !near(s.p[0][0], 1e-4/9, 1e-12) {
		t.Errorf("eleven readings of 1e-4 s² make %g s², want a ninth", s.p[0][0])
	}
	feed(&s, "gnss", 0, 11*time.Minute, 21*time.Minute)
	if s.at != local(16*time.Minute) || !near(s.c, 36, 1e-9) || !near(s.v[0], 960e-6, 1e-6) {
		t.Errorf("the second: at %v, %g °C, %g s", s.at, s.c, s.v[0])
	}
	// A hole of more than two blocks within one: it begins again.
	feed(&s, "gnss", 0, 22*time.Minute, 25*time.Minute)
	if feed(&s, "gnss", 0, 43*time.Minute, 43*time.Minute); s.block.n != 1 || s.block.begin != local(43*time.Minute) {
		t.Errorf("after a hole of 18 min: %+v", s.block)
	}
	for _, c := range []struct {
		source string
		base   int64
	}{{"server", 0}, {"server", 7}} {
		if feed(&s, c.source, c.base, 44*time.Minute, 44*time.Minute); s.block.n != 1 || s.have {
			t.Errorf("%s, base %d: it goes on from the other: %+v", c.source, c.base, s.block)
		}
	}
}

// A reference that jumps, or comes back after an hour, begins again where it is: rate and
// slope stand, and the rate has walked meanwhile.
func TestBeginsAgain(t *testing.T) {
	known := func() slope {
		s := newSlope(Kept{})
		s.wander = wanderLeast
		s.take(local(0), 0, 20, 1e-6, Rate{Variance: 1e-14})
		s.take(local(10*time.Minute), 0, 22, 1e-6, Rate{})
		return s
	}
	s := known()
	was := s
	s.take(local(20*time.Minute), 1, 23, 1e-6, Rate{})
	if s.v[0] != 1 || s.v[1] != was.v[1] || s.v[2] != was.v[2] || s.p[0] != [3]float64{1e-6, 0, 0} || !near(s.p[1][1], was.p[1][1]+rateWalk*600+sq(1e-6), 1e-18) {
		t.Errorf("after a jump by 1 s: %v, %v", s.v, s.p)
	}
	if s.c != 23 || s.hi != 22 || s.lo != 22 {
		t.Errorf("a jump teaches nothing: learned from %g to %g °C", s.lo, s.hi)
	}
	s = known()
	s.take(local(70*time.Minute), 0.001, 23, 1e-6, Rate{})
	if s.v[0] == 0.001 {
		t.Error("an hour is a hole")
	}
	s = known()
	s.take(local(70*time.Minute+time.Second), 0.001, 23, 1e-6, Rate{})
	if s.v[0] != 0.001 || !near(s.p[1][1], was.p[1][1]+rateWalk*3601, 1e-18) {
		t.Errorf("after more than an hour: %v, %v", s.v, s.p)
	}
}

// How much the reference wanders is measured by what is unforeseen, a block at a time; what
// is beyond the gate counts as the gate.
func TestWander(t *testing.T) {
	s := newSlope(Kept{})
	s.take(local(0), 0, 20, 1e-6, Rate{Variance: 1e-14})
	for k, far := range []float64{0.5, -2, 3, 9} { // σ of the innovation
		u := s
		u.predict(600, (s.c+20)/2-s.c0)
		v := u.p[0][0] + 1e-6
		blocks := float64(wanderPrior + k + 1)
		want := s.wander + (min(sq(far), sq(slopeGate))*v/600-s.wander)/blocks
		s.take(local(time.Duration(k+1)*10*time.Minute), u.v[0]+far*math.Sqrt(v), 20, 1e-6, Rate{})
		if !near(s.wander, want, 1e-6*want) {
			t.Errorf("after the %d. block: %g s²/s, want %g", k+1, s.wander, want)
		}
	}
}

// A slope is known where it is significant, one that crystals have, and learned over some
// degrees; its σ is never below a share of it.
func TestWhatIsKnown(t *testing.T) {
	for _, c := range []struct {
		k, sigma, lo, hi float64
		known            float64 // σ; 0 = not known
	}{
		{0.3e-6, 0.1e-6, 10, 20, 0.1e-6},
		{0.3e-6, 0.3e-6 / 2.57, 10, 20, 0},
		{-0.9e-6, 0.01e-6, 10, 20, sureShare * 0.9e-6},
		{-1.01e-6, 0.01e-6, 10, 20, 0},
		{0.06e-6, 0.01e-6, 10, 20, sureLeast},
		{0.3e-6, 0.1e-6, 10, 12.9, 0},
		{0.3e-6, 0.1e-6, 10, 13, 0.1e-6},
	} {
		s := newSlope(Kept{PerC: c.k, Sigma: c.sigma, LoC: c.lo, HiC: c.hi})
		k, sigma, ok := s.learned()
		if ok != (c.known > 0) || ok && (k != c.k || !near(sigma, c.known, 1e-15)) {
			t.Errorf("%+v: %g ± %g, known %v", c, k, sigma, ok)
		}
		kept, keep := s.keep()
		if want := math.Abs(c.k) <= steepest; keep != want || keep && (kept.PerC != c.k || !near(kept.Sigma, c.sigma, 1e-15) || kept.LoC != c.lo || kept.HiC != c.hi) {
			t.Errorf("%+v: kept %+v, %v", c, kept, keep)
		}
	}
	if _, keep := (&slope{lo: 5, hi: 6}).keep(); keep {
		t.Error("σ 0 is kept")
	}
	vague := newSlope(Kept{PerC: 0.1e-6, Sigma: 0.28e-6, LoC: 1, HiC: 9})
	if _, keep := vague.keep(); keep {
		t.Error("what is hardly known is kept")
	}
	if got := vague.spread(); !near(got, math.Hypot(0.1e-6, 0.28e-6), 1e-15) {
		t.Errorf("may be %g", got)
	}
	if got := (&slope{}).spread(); got != sureLeast {
		t.Errorf("may be %g at least", got)
	}
}
