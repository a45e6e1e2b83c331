package bank

import (
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// The guard is the root of the equation: what is outside it is as likely as may be spent,
// and a guard smaller by a thousandth leaves more outside.
func TestGuardIsTheRoot(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 17))
	for range 200 {
		b := newBank()
		b.n = 0
		for range 1 + rng.IntN(9) {
			var tr Track
			tr.Located, tr.Cost = true, rng.Float64()*9
			tr.F.Forget(estimate.X, rng.NormFloat64()*0.3, 0.01+rng.Float64()*0.3)
			b.add(tr)
		}
		b.deliver()
		b.best = b.cheapest()
		b.weigh()
		lo, hi := b.Guard(0)
		g, p := math.Max(-lo, hi), b.parts(0)
		if r := p.outside(g); r > spent {
			t.Fatalf("%.3g is outside a guard of %.4f s, want %.3g at most", r, g, spent)
		}
		if r := p.outside(0.999 * g); r < spent-drawnIn {
			t.Fatalf("a guard smaller than %.4f s by a thousandth leaves %.3g outside, want more than %.3g", g, r, spent-drawnIn)
		}
		if near := math.Min(-lo, hi); near < g && p.below(-lo)+p.above(hi) > spent {
			t.Fatalf("%.3g is outside %.4f to %.4f s, want %.3g at most", p.below(-lo)+p.above(hi), lo, hi, spent)
		}
		for _, c := range []float64{0, -0.02, 0.02} { // as published, UTC is c later
			about := math.Max(c-lo, hi-c)
			if !b.Holds(1.001*about, c, 0) || b.Holds(0.999*about, c, 0) {
				t.Fatalf("Holds disagrees with a guard of %.4f to %.4f s about %.4f s", lo, hi, c)
			}
		}
	}
}

// What an unproved lateness leaves beyond the edge of its range, against draws of a
// truncated Gaussian with the stream's scatter: never less, and nowhere a full mass.
func TestTailOfALateness(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	const draws = 50000
	for _, scatter := range []float64{0.005, 0.05, 0.2} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		r := look(10*second, 1000, scatter)
		r.Stream.LeadMost = 0
		b.Hear(r)
		tr := b.Best()
		var q part
		tr.part(&q, 0)
		for _, x := range []float64{0.5, 0.85, 0.9, 0.9 + scatter, 0.9 + 2*scatter} {
			n := 0
			for range draws {
				d := -1.0
				for d < 0 || d > 1.2 {
					d = 0.3 + 0.45*rng.NormFloat64()
				}
				if d-0.3+scatter*rng.NormFloat64() > x {
					n++
				}
			}
			got, want := q.tail(x), float64(n)/draws
			if got < want-4*math.Sqrt(want/draws)-1e-4 && x > 0.5 {
				t.Errorf("scatter %.3f s: UTC is later than %.3f s with %.2g by draws, the bank says %.2g", scatter, x, want, got)
			}
			if x > 0.9 && got > 12*want+1e-3 {
				t.Errorf("scatter %.3f s: beyond %.3f s are %.2g by draws, the bank says %.2g: that is the whole mass at the edge", scatter, x, want, got)
			}
		}
	}
}

// The kernel wrote the hardware clock before the power went. That it left it where it left
// it before is likely, not certain: a receiver of known lateness decides.
func TestWritesScatter(t *testing.T) {
	for _, forbid := range []bool{false, true} {
		b := newBank()
		if forbid {
			b.Forbid(WritesScatter)
		}
		b.Opened(known(0.15))
		b.Recall(&Recalled{Sigma: 0.02, Scattered: 0.3, RateSigma: 1e-6, Dated: true})
		b.Hear(&Reading{Source: Clock, At: second, Z: 1000e9, Var: 1e-6, Dated: true, From: SetOf(Before)})
		lo, hi := b.Guard(0)
		if wide := hi-lo > 0.6; wide == forbid {
			t.Errorf("forbidden: %v; the clock alone leaves %.2f to %.2f s", forbid, lo, hi)
		}
		r := look(11*second, 1000.3-0.15, 0.004)
		r.Stream.LeadMost = 0
		b.Hear(r)
		if x := float64(b.Best().F.Base)/1e9 + b.Best().F.V[estimate.X]; !forbid && math.Abs(x-1000.3) > 0.05 {
			t.Errorf("the receiver puts UTC at 1000.3 s, the best explanation at %.3f", x)
		}
	}
}

// A receiver's sentences come later from one look to the next. Who took it to be false from
// then on does not explain for nothing that it is led away an hour later, nor that it comes back. Were the moves free, it
// would; the way back has a price of its own besides (backAgain).
func TestFalseMovesToo(t *testing.T) {
	for _, c := range []struct{ free, back bool }{{false, false}, {true, false}, {false, true}} {
		free := c.free
		b := newBank()
		if free {
			b.nats[FalseMoves] = 0
		}
		b.Opened(known(0.15))
		const step = 60 * 10 * second
		for k := timescale.Local(1); k < 600; k++ {
			z := 1000 - 0.15
			if k >= 60 {
				z -= 0.2
			}
			if k > 420 && (k < 440 || !c.back) {
				z -= 0.3
			}
			r := look(k*10*second, z, 0.004)
			r.Stream.LeadMost = 0
			b.Hear(r)
		}
		w := 0.0 // of those who took it to be false at the step
		for i := range b.Tracks() {
			if tr := &b.Tracks()[i]; tr.Out.Has(Receiver) && tr.parted() == step {
				w += b.Weight(i)
			}
		}
		if w > 0.2 != free {
			t.Errorf("it is free: %v, it comes back: %v; that the receiver is false since the step is %.2g likely", free, c.back, w)
		}
	}
}

// The equation has its root from any guess, also where the guess was left at the end of all
// that is looked at, or is no number; and where all parts are inside, or none is.
func TestSolveEnds(t *testing.T) {
	for _, root := range []float64{0, 1e-3, 0.5, 20, 1e6, 2 * farthestOut} {
		step := func(g float64) float64 {
			if g < root {
				return 1
			}
			return 0
		}
		slope := func(g float64) float64 { return math.Exp(-g / math.Max(root, 1e-9) * math.Log(1/spent)) }
		for _, guess := range []float64{math.NaN(), math.Inf(-1), -1, 0, 1e-6, 0.4, 19, 21, 1e7, farthestOut, math.Inf(1)} {
			for name, r := range map[string]func(float64) float64{"a step": step, "a slope": slope} {
				want := math.Min(root, farthestOut)
				if got := solve(r, spent, guess); !(got >= want*(1-1e-12)) || got > want*(1+2*nearGuard)+1.1e-6 {
					t.Errorf("%s at %g, from %g: %g", name, root, guess, got)
				}
			}
		}
	}
	if got := solve(func(float64) float64 { return math.NaN() }, spent, 1); math.IsNaN(got) {
		t.Error("no number")
	}
}

// Two servers say that a receiver is false, and that is the best explanation. That the receiver
// jumps now is dear for who hears it, and not free for who did not believe it before.
func TestFalseMovesWhoeverIsBest(t *testing.T) {
	var w [2]float64 // of those who take the servers to be false, where it is free, and where not
	for i := range w {
		b := newBank()
		if i == 0 {
			b.nats[FalseMoves] = 0
		}
		b.Opened(known(0.15))
		for k := timescale.Local(1); k < 200; k++ {
			at, z := k*10*second, 1000-0.15
			if k == 100 || k == 110 {
				for s := range Source(2) {
					b.Hear(server(Server+s, at+1, 1001.8, 0.01))
				}
			}
			if k > 150 {
				z -= 20.3
			}
			r := look(at, z, 0.004)
			r.Stream.LeadMost = 0
			b.Hear(r)
		}
		if !b.Best().Out.Has(Receiver) {
			t.Fatal("the best explanation hears the receiver: this proves nothing")
		}
		for k := range b.Tracks() {
			if tr := &b.Tracks()[k]; tr.Out.Has(Server) && !tr.Latent {
				w[i] += math.Exp(b.Best().Cost - tr.Cost)
			}
		}
	}
	if w[1] < 5*w[0] || w[0] == 0 {
		t.Errorf("that the servers are false is %.2g likely, %.2g where it is free that what is false moves", w[1], w[0])
	}
}
