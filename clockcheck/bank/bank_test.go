package bank

import (
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// The list of tests is that of the published method (Blanch and others 2012, 2015; Reid
// 1979): an exact world, worlds that no reading tells apart, order, merging, removal,
// brute force, and other priors.

const second = timescale.Local(1e9)

func newBank() *Bank { return New(Config{RateSigma: 30e-6, ClockSigma: 2.5e-6, ClockWander: 3e-19}) }

// server is an answer: UTC − local is z s, to σ.
func server(s Source, at timescale.Local, z, sigma float64) *Reading {
	return &Reading{Source: s, At: at, Z: int64(z * 1e9), Common: sigma, Dated: true}
}

// look is what a receiver's stream says: UTC − local is z s, less its lateness.
func look(at timescale.Local, z, sigma float64) *Reading {
	return &Reading{Source: Receiver, At: at, Z: int64(z * 1e9), Var: sigma * sigma, Dated: true,
		Stream: Stream{LeadMost: MaxLead, Missing: Prices[SecondMissing].P, LateMost: 1.2}}
}

// known is a lateness that the operator said.
func known(d float64) Lateness {
	return Lateness{Mean: d, Sigma: 0.001, Most: 1.2, Known: true, Said: true}
}

func span(b *Bank) (lo, hi float64) {
	lo, hi = b.Guard(0)
	x := float64(b.Best().F.Base)/1e9 + b.Best().F.V[estimate.X]
	return x + lo, x + hi
}

// A world that is exactly one explanation: its weight goes to one, and the error has the
// spread that the filter says (mean square of error/σ is 1, to four of its own σ).
func TestExactWorld(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	const worlds = 150
	sum := 0.0
	for range worlds {
		b := newBank()
		b.Opened(known(0.12))
		y, x, d := rng.NormFloat64()*30e-6, 0.0, 0.12+rng.NormFloat64()*0.001
		for k := timescale.Local(1); k <= 400; k++ {
			y += rng.NormFloat64() * math.Sqrt(rateRestless*10)
			x += y * 10
			d += rng.NormFloat64() * math.Sqrt(lateRestless*10)
			r := look(k*10*second, 1000+x-d, 0)
			r.Stream.LeadMost, r.Var = 0, 1e-4
			r.Z += int64(rng.NormFloat64() * 0.01 * 1e9)
			b.Hear(r)
		}
		f := &b.Best().F
		e := float64(f.Base)/1e9 + f.V[estimate.X] - 1000 - x
		sum += e * e / f.P[estimate.X][estimate.X]
		if w := b.Weight(b.best); w < 0.99 {
			t.Errorf("the only explanation weighs %.3f", w)
		}
	}
	if m := sum / worlds; math.Abs(m-1) > 4*math.Sqrt(2.0/worlds) {
		t.Errorf("mean square of error/σ is %.2f, want 1", m)
	}
}

// Two worlds that no reading tells apart: whether the second is missing stays as likely
// as its prior, however long the receiver is heard.
func TestIndistinguishable(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	for k := timescale.Local(1); k < 2000; k++ {
		b.Hear(look(k*10*second, 1000, 0.005))
	}
	for i := range b.Tracks() {
		if tr := &b.Tracks()[i]; tr.Lead > 0 {
			p := Prices[SecondMissing].P
			if got, want := b.Weight(i)/b.Weight(b.best), p; math.Abs(got-want) > 0.001 {
				t.Errorf("missing is %.4f times as likely as not, want %.4f", got, want)
			}
			if lo, hi := span(b); lo > 1000.3-18 || hi < 1000.3 {
				t.Errorf("the guard is %.2f to %.2f, want both worlds in it", lo, hi)
			}
			return
		}
	}
	t.Fatal("nobody reckons with a missing second")
}

// The order of readings at one instant changes nothing.
func TestOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	all := []*Reading{server(Server, 10*second, 1000, 0.01), server(Server+1, 10*second, 1000.01, 0.01),
		server(Server+2, 10*second, 1003, 0.02), server(Ear, 10*second, 1000.05, 0.08)}
	var lo, hi float64
	for round := range 24 {
		b := newBank()
		for _, i := range rng.Perm(len(all)) {
			b.Hear(all[i])
		}
		l, h := span(b)
		if round == 0 {
			lo, hi = l, h
		}
		if math.Abs(l-lo) > 0.02 || math.Abs(h-hi) > 0.02 {
			t.Errorf("the guard is %.3f to %.3f in one order and %.3f to %.3f in another", lo, hi, l, h)
		}
	}
}

// explained is one explanation in the brute force: a place, a σ, and its weight.
type explained struct{ x, sigma, w float64 }

// outside is the probability that UTC is outside lo to hi.
func outside(all []explained, lo, hi float64) (p float64) {
	sum := 0.0
	for _, e := range all {
		sum += e.w
	}
	q := func(z float64) float64 { return 0.5 * math.Erfc(z/math.Sqrt2) }
	for _, e := range all {
		p += e.w / sum * (q((e.x-lo)/e.sigma) + q((hi-e.x)/e.sigma))
	}
	return p
}

// The guard against the equation: whatever the tracks, UTC is outside it with Risk at
// most, dropped tracks counted.
func TestGuardAgainstTheEquation(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 5))
	for range 300 {
		b := newBank()
		b.n = 0
		var all []explained
		for range 1 + rng.IntN(20) {
			var tr Track
			tr.Located, tr.Cost = true, rng.Float64()*14
			tr.F.Forget(estimate.X, rng.NormFloat64()*3, 0.01+rng.Float64()*0.3)
			all = append(all, explained{tr.F.V[estimate.X], tr.F.Sigma(estimate.X), math.Exp(-tr.Cost)})
			b.add(tr)
		}
		b.deliver()
		b.best = b.cheapest()
		b.weigh()
		lo, hi := b.Guard(0)
		x := b.Best().F.V[estimate.X]
		if p := outside(all, x+lo, x+hi); p > Risk {
			t.Fatalf("UTC is outside the guard with %.2g, want %.2g at most", p, Risk)
		}
	}
}

// Brute force over all explanations of a short sequence: with n servers of which some
// contradict others, each subset may be false. The bank finds the best of them, and its
// guard leaves out no more than Risk by their weights.
func TestBruteForceOverServers(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 9))
	const sigma = 0.02
	for range 200 {
		n := 3 + rng.IntN(2)
		says := make([]float64, n)
		for i := range says {
			says[i] = 1000 + rng.NormFloat64()*sigma/3
		}
		says[rng.IntN(n)] += 1 + 3*rng.Float64()
		b := newBank()
		for i, z := range says {
			b.Hear(server(Server+Source(i), 10*second, z, sigma))
		}
		var all []explained
		best := explained{}
		for out := range 1 << n {
			e := explained{sigma: sigma, w: 1}
			heard, first := 0, math.NaN()
			lo, hi := math.Inf(-1), math.Inf(1)
			for i, z := range says {
				if out>>i&1 == 1 {
					e.w *= Prices[ServerFalse].P
					if w := 4*sigma + 0.05; !math.IsNaN(first) && math.Abs(z-first) < w {
						e.w *= Prices[FalseFits].P * w / 2
					}
					if math.IsNaN(first) {
						first = z
					}
					continue
				}
				if heard++; heard == 1 { // errors common to all answers: the next is no better
					e.x = z
				}
				lo, hi = math.Max(lo, z-4*sigma), math.Min(hi, z+4*sigma)
			}
			if heard == 0 || lo > hi || uncontradicted(says, out, e.x, 8*sigma) {
				continue
			}
			if all = append(all, e); e.w > best.w {
				best = e
			}
		}
		lo, hi := span(b)
		if got := (lo + hi) / 2; math.Abs(float64(b.Best().F.Base)/1e9+b.Best().F.V[estimate.X]-best.x) > 2*sigma {
			t.Fatalf("the best is at %.3f, want %.3f (servers %v)", got, best.x, says)
		}
		if p := outside(all, lo, hi); p > Risk {
			t.Fatalf("UTC is outside the guard with %.4g by brute force (servers %v, guard %.3f to %.3f)", p, says, lo, hi)
		}
	}
}

// uncontradicted tells whether one of those left out agrees with x, to within near: it is
// believed, for nobody speaks against it.
func uncontradicted(says []float64, out int, x, near float64) bool {
	for i, z := range says {
		if out>>i&1 == 1 && math.Abs(z-x) < near {
			return true
		}
	}
	return false
}

// Merging leaves out nothing that either track had; the risk is shared among fewer, so
// that the guard may move by a hundredth of a second all the same.
func TestMergeSpansBoth(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 8))
	b := newBank()
	b.n = 0
	for i := range MaxTracks {
		var tr Track
		tr.Located, tr.Cost = true, float64(i)*0.2
		tr.F.Forget(estimate.X, rng.NormFloat64()*3, 0.05)
		tr.Lead = i // no two are twins
		b.add(tr)
	}
	b.deliver()
	b.settle()
	lo, hi := b.Guard(0)
	b.mergeDearest()
	b.settle()
	if l, h := b.Guard(0); l > lo+0.01 || h < hi-0.01 {
		t.Errorf("merged, the guard is %.3f to %.3f, before %.3f to %.3f", l, h, lo, hi)
	}
	if b.n != MaxTracks-1 {
		t.Errorf("%d tracks, want one less", b.n)
	}
}

// A night in small: a receiver whose lateness a server proves, an hour, a jump.
func smallNight(b *Bank) (before, after float64) {
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	for k := timescale.Local(1); k < 360; k++ {
		b.Hear(look(k*10*second, 1000-0.15, 0.004))
		if k%6 == 0 && k < 100 {
			b.Hear(server(Server, k*10*second+second, 1000, 0.01))
		}
	}
	lo, hi := b.Guard(0)
	before = math.Max(-lo, hi)
	for k := timescale.Local(360); k < 400; k++ {
		b.Hear(look(k*10*second, 1001-0.15, 0.004))
	}
	lo, hi = b.Guard(0)
	return before, math.Max(-lo, hi)
}

// Leap-second data come in after none, one or two pages were missed, up to the last moment
// (37 min after the fix): until then UTC may be where it is, and the second is not proved;
// then the receiver steps back by what was missing, and is right from then on. No former
// state of another second may speak against that. Looks are 10 s apart, pages 13 min.
func TestLeapDataComeLate(t *testing.T) {
	for _, missing := range []float64{1, 3, 18} {
		for _, come := range []timescale.Local{60, 130, 224} {
			b := newBank()
			b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
			for k := timescale.Local(1); k < 400; k++ {
				z := 1000 - 0.15
				if k < come {
					z += missing
				}
				b.Hear(look(k*10*second, z, 0.004))
				if k%78 == 0 && k <= 3*78 {
					b.Page(9)
				}
				if lo, hi := span(b); lo > 1000 || hi < 1000 || k < come && b.Proved().Second {
					t.Fatalf("%v s were missing until %v min: after %v min UTC is said to be from %.2f to %.2f, and the second proved: %v; want 1000 in it",
						missing, come/6, k/6, lo, hi, b.Proved().Second)
				}
			}
			most := 2.2 // a lateness that moves by a second is as good as ruled out
			if come > 2*78 {
				most = missing + 1.5 // two missed pages are as dear as a false receiver
			}
			if lo, hi := span(b); hi-lo > most {
				t.Errorf("%v s were missing until %v min: UTC is said to be from %.2f to %.2f, want %.1f s at most", missing, come/6, lo, hi, most)
			}
		}
	}
}

// A cold, lone receiver that led by nothing: its second is proved after three pages.
func TestPagesProve(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	pages := 0
	for k := timescale.Local(1); !b.Proved().Second && pages < 9; k++ {
		if b.Hear(look(k*10*second, 1000, 0.004)); k%78 == 0 {
			b.Page(9)
			pages++
		}
	}
	if pages != 3 {
		t.Errorf("the second is proved after %d pages, want 3: 0.3·0.01·0.1·0.1 is below half of the risk, ten times that is not", pages)
	}
}

// Beside a server a cold receiver that is 0.06 s late may as well lead by a second and be
// 1.06 s late, as the few are that describe the second before: two pages prove the second,
// and with it the lateness.
func TestSecondBeforeIsRare(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	pages := 0
	for k := timescale.Local(1); !b.Proved().Lateness && pages < 9; k++ {
		b.Hear(server(Server, k*10*second, 1000, 0.005))
		b.Hear(look(k*10*second, 1000-0.06, 0.004))
		if k%78 == 0 {
			b.Page(9)
			pages++
		}
	}
	if pages != 2 {
		t.Errorf("the lateness is proved after %d pages, want 2: 0.3·0.05·0.01·0.1 is below half of the risk, ten times that is not", pages)
	}
}

// A lone receiver of unknown lateness goes astray for two minutes, and comes back to where
// the oscillator expects it: it takes part again, in ten minutes after a small step.
func TestLoneReceiverComesBack(t *testing.T) {
	for _, astray := range []float64{-0.19, 2.3} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		hear := func(from, to timescale.Local, z float64) {
			for k := from; k < to; k++ {
				if b.Hear(look(k*10*second, z-0.15, 0.004)); k%78 == 0 {
					b.Page(9)
				}
			}
		}
		hear(1, 300, 1000)
		hear(300, 312, 1000+astray)
		if astray > 1.2 && b.Best().streams() {
			t.Errorf("a step by %v s is heard", astray)
		}
		hear(312, 400, 1000)
		if !b.Best().streams() {
			t.Errorf("%v s astray for two minutes: the receiver takes part no more", astray)
		}
		// That it was false until it went astray, and is false by just as much again, is chance.
		if lo, hi := b.Guard(0); astray > 1.2 && math.Max(-lo, hi) > 1.5 {
			t.Errorf("%v s astray for two minutes: the guard is %.2f to %.2f s", astray, lo, hi)
		}
	}
}

// Half and double every prior: what is said of a small night stays, and its guards move
// by less than 0.15 s, half of the tightest tolerance.
func TestHalfAndDouble(t *testing.T) {
	before, after := smallNight(newBank())
	if before > 0.25 || after > 0.25 {
		t.Errorf("guard %.3f s, after a jump by one second %.3f s: want 0.25 at most", before, after)
	}
	for _, f := range []float64{0.5, 2} {
		b := newBank()
		b.Scale(f)
		p, q := smallNight(b)
		if math.Abs(p-before) > 0.15 || math.Abs(q-after) > 0.15 || p > 0.25 || q > 0.25 {
			t.Errorf("priors times %v: guards %.3f and %.3f s, else %.3f and %.3f", f, p, q, before, after)
		}
	}
}

// A bank that forbids an explanation has no track that makes it.
func TestForbid(t *testing.T) {
	for a := range numAssumptions {
		b := newBank()
		b.Forbid(a)
		smallNight(b)
		for i := range b.Tracks() {
			if tr := &b.Tracks()[i]; tr.Assumes(a) && tr.Cost < tooDear && tr.Located {
				t.Errorf("%s is forbidden, and assumed at %.1f nats", Prices[a].Name, tr.Cost)
			}
		}
	}
}

// How far a step of the oscillator has gone, against steps drawn at random: beyond what
// is allowed for are so many as the equation says.
func TestStepAgainstChance(t0 *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	b := newBank()
	b.nats[OscillatorMoved] = 0 // each draw has a step: then a quarter of Risk is too rare to count
	for t := 1e-3; t < 1e7; t *= 3 {
		if g := b.stepSince(t); !(g >= 0 && g <= oscillatorStep*t) {
			t0.Errorf("after %v s a step has gone %v s", t, g)
		}
	}
	const draws = 200000
	for _, hours := range []float64{0.5, 3, 12} {
		T := hours * 3600
		b.nats[OscillatorMoved] = -math.Log(Risk / 4 * 1000 * night / T) // one in a thousand is beyond
		g, beyond := b.stepSince(T), 0
		for range draws {
			if size := 1e-6 * math.Pow(20, rng.Float64()); size*T*rng.Float64() > g {
				beyond++
			}
		}
		if p := float64(beyond) / draws; math.Abs(p-1e-3) > 4e-4 {
			t0.Errorf("%v h: %.5f of the steps are beyond %.3f s, want 0.001", hours, p, g)
		}
	}
}

// Every price is a probability with a unit and a source.
func TestPrices(t *testing.T) {
	for a, p := range Prices {
		if p.P <= 0 || p.P >= 1 || p.Name == "" || p.Unit == "" || p.Source == "" {
			t.Errorf("price %d is not whole: %+v", a, p)
		}
	}
}

// In the steady state nothing is allocated, and a reading takes microseconds.
func TestNoAllocation(t *testing.T) {
	b := newBank()
	smallNight(b)
	k := timescale.Local(400)
	if n := testing.AllocsPerRun(500, func() {
		b.Hear(look(k*10*second, 1001-0.15, 0.004))
		k++
	}); n > 0 {
		t.Errorf("%v allocations a reading, want none", n)
	}
}

func BenchmarkLook(b *testing.B) {
	k := newBank()
	smallNight(k)
	at := timescale.Local(400)
	for b.Loop() {
		k.Hear(look(at*10*second, 1001-0.15, 0.004))
		at++
	}
}

// A doubt that is kept over a power-off is as likely after it as before: no start makes it
// as likely as not, and none forgets it. A strong one leaves nothing believed unheard.
func TestDoubtIsKept(t *testing.T) {
	for _, doubt := range []float64{0, 4, 9} {
		b := newBank()
		b.Opened(known(0.15))
		b.DoubtAgain([]Doubted{{SetOf(Receiver), doubt}})
		b.Recall(&Recalled{Sigma: 0.02, RateSigma: 1e-6, Dated: true})
		for k := timescale.Local(1); k < 20; k++ {
			b.Hear(&Reading{Source: Clock, At: k * 10 * second, Z: 1000e9, Var: 1e-6, Dated: true, From: SetOf(Before)})
			r := look(k*10*second, 1000-0.15, 0.004)
			r.Stream.LeadMost = 0
			b.Hear(r)
		}
		found, set, want := false, false, math.Exp(-math.Min(doubt, b.nats[ReceiverFalse]))
		for i := range b.Tracks() {
			switch tr := &b.Tracks()[i]; {
			case tr.Out.Has(Receiver):
				found = true
				if got := b.Weight(i) / b.Weight(b.best); !tr.streams() && i != b.best && math.Abs(math.Log(got/want)) > 0.5 {
					t.Errorf("a doubt of %v nats is %.2g as likely as the best, want %.2g", doubt, got, want)
				}
			case tr.Assumes(ClockSet) && !tr.Latent:
				set = true
			}
		}
		if set != (doubt == 0) {
			t.Errorf("a doubt of %v nats: that the clock was set is reckoned with: %v", doubt, set)
		}
		if !found {
			t.Errorf("a doubt of %v nats is forgotten", doubt)
		}
	}
}

// Carried into the cold, the computer's crystal changes its rate by 35 ppm in ten minutes
// (1 ppm/K). A steady hardware clock and a lone receiver that scatters agree: nobody set
// the one time and again, nobody led the other away.
func TestCrystalCarriedIntoTheCold(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	utc := 1000.0
	for k := timescale.Local(1); k < 1440; k++ {
		if k > 720 {
			utc += 10 * 35e-6 * math.Min(float64(k-720)/60, 1)
		}
		r := look(k*10*second, utc-0.15+rng.NormFloat64()*0.01, 0.01)
		r.Stream.LeadMost = 0
		b.Hear(r)
		if k%60 == 30 {
			b.Hear(&Reading{Source: Clock, At: k * 10 * second, Z: int64((utc + 5) * 1e9), Var: 1e-6, Dated: true})
		}
		if lo, hi := span(b); lo > utc || hi < utc {
			t.Fatalf("after %d min UTC is said to be from %.3f to %.3f, want %.3f in it", k/6, lo, hi, utc)
		}
	}
	sets := 0
	for _, a := range b.Best().Assumptions() {
		if a.What == ClockSet {
			sets++
		}
	}
	if sets > 0 || !b.Best().streams() {
		t.Errorf("the best explanation has the hardware clock set %d times, and hears the receiver: %v; want the crystal moved", sets, b.Best().streams())
	}
}

// Of two tracks that may be left out, but not both, the one that reaches farther is.
func TestLeavesOutTheFarther(t *testing.T) {
	for _, far := range []float64{-18, 18} {
		b := newBank()
		b.n = 0
		for _, o := range []struct{ x, weight float64 }{{0, 1}, {0.3, 3e-5}, {far, 4e-5}} {
			var tr Track
			tr.Located, tr.Cost = true, -math.Log(o.weight)
			tr.F.Forget(estimate.X, o.x, 0.02)
			b.add(tr)
		}
		b.deliver()
		b.best = b.cheapest()
		b.weigh()
		if lo, hi := b.Guard(0); math.Max(-lo, hi) > 0.6 || hi < 0.28 {
			t.Errorf("the guard is %.2f to %.2f s, want no further than 0.6, and 0.3 in it to one σ", lo, hi)
		}
	}
}

// A cold receiver that leads beside nobody is taken to be false when it jumps by a little. Pages
// of leap-second data that change nothing speak against that it still leads.
func TestPagesOfAFalseReceiver(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.1, Sigma: 0.01, Most: 1.2, Known: true})
	guard := func() float64 {
		lo, hi := b.Guard(0)
		return math.Max(-lo, hi)
	}
	k := timescale.Local(1)
	for ; k < 10; k++ {
		b.Hear(look(k*10*second, 1000-0.1, 0.004))
	}
	for ; k < 20; k++ {
		b.Hear(look(k*10*second, 1000-0.25, 0.004))
	}
	if guard() < 17 {
		t.Fatalf("the guard is %.1f s, and it may lead by 18", guard())
	}
	for range 3 {
		b.Page(9)
		b.Hear(look(k*10*second, 1000-0.25, 0.004))
		k++
	}
	if guard() > 1.2 {
		t.Errorf("three pages later the guard is %.1f s", guard())
	}
}

// A server proves a lateness; then the receiver is led away. For a moment the server may have
// been false, and the lateness have moved; when the receiver goes on, that explains nothing
// any more, and the server is believed as before.
func TestDoubtEnds(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	k := timescale.Local(1)
	for ; k < 400; k++ {
		if b.Hear(look(k*10*second, 1000-0.04, 0.002)); k%78 == 0 {
			b.Page(9)
		}
		if k%6 == 0 && k > 360 {
			b.Hear(server(Server, k*10*second+second, 1000, 0.005))
		}
	}
	for i := range timescale.Local(30) {
		b.Hear(look((k+i)*10*second, 1000-0.04-0.04*float64(i+1), 0.002))
	}
	if lo, hi := b.Guard(0); math.Max(-lo, hi) > 0.3 {
		t.Errorf("the guard is %.2f to %.2f s, want 0.3 at most", lo, hi)
	}
}

// A receiver that led by nothing when the run before ended is two seconds fast: it is likelier
// to be false than to have been started again.
func TestNoStartNoLead(t *testing.T) {
	for _, before := range []bool{true, false} {
		b := newBank()
		b.Resume(&Held{At: second, Z: 1000e9, Sigma: 0.01, RateSigma: 1e-7, Dated: true, From: SetOf(Receiver), Stream: before, Lateness: 0.1, Same: 0.1})
		b.Opened(Lateness{Mean: 0.1, Sigma: 0.02, Most: 1.2, Known: true})
		for k := timescale.Local(1); k < 5; k++ {
			r := look(k*10*second, 1002-0.1, 0.004)
			r.Stream.Missing = 0.05
			b.Hear(r)
		}
		if leads := b.Best().Lead > 0; leads == before {
			t.Errorf("heard by the run before: %v; by the best it leads by %d s", before, b.Best().Lead)
		}
		if lo, hi := b.Guard(0); before && hi-lo > 3 {
			t.Errorf("the guard is %.2f to %.2f s", lo, hi)
		}
	}
}
