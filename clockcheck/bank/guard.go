package bank

import (
	"cmp"
	"math"
	"slices"
	"time"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// The guard is the least interval that UTC leaves with the probability Risk at most:
//
//	Σ over tracks k of w_k · P(UTC outside, given k) ≤ Risk,
//
// w_k the weight that prices and strain give, former states among them (equation.go).
// Here are the weights. Half the risk goes to leaving tracks out altogether, while their
// weights together are below it: the least likely, or those that reach farthest, whichever
// leaves the narrower hull.

// Likely is the z of the 99 % that is reported as the bound: √2 · erfc⁻¹(0.01).
const Likely = 2.576

// weigh gives each track its weight, and its z: so many σ of it the guard spans at least.
func (b *Bank) weigh() {
	for i := range b.former.weight {
		b.former.weight[i] = b.formerWeight(i)
	}
	var order [MaxTracks]int
	sum, best := 0.0, b.tracks[b.best].total()
	for i := range b.tracks[:b.n] {
		order[i], b.weight[i] = i, 0
		if t := &b.tracks[i]; !t.Latent {
			b.weight[i] = math.Exp(best - t.total())
		}
		sum += b.weight[i]
	}
	if sum == 0 {
		return
	}
	var far [MaxTracks]float64
	for i := range b.tracks[:b.n] {
		b.weight[i] /= sum
		far[i] = b.far(i)
	}
	slices.SortFunc(order[:b.n], func(i, k int) int { return cmp.Compare(b.weight[i], b.weight[k]) })
	out, most := b.leaveOut(order[:b.n], &far)
	if most > farSeconds {
		slices.SortFunc(order[:b.n], func(i, k int) int { return cmp.Compare(far[k], far[i]) })
		if o, m := b.leaveOut(order[:b.n], &far); m < most/2 {
			out = o
		}
	}
	for i := range b.tracks[:b.n] {
		if b.z[i] = -1; out>>i&1 == 0 {
			b.z[i] = tail(spent / 2 / b.weight[i])
		}
	}
}

// leaveOut leaves tracks out in an order, while their weights together are below half the
// risk; most is how far the others reach, s.
func (b *Bank) leaveOut(order []int, far *[MaxTracks]float64) (out uint32, most float64) {
	left := Risk / 2
	for _, i := range order {
		if w := b.weight[i]; i != b.best && w <= left {
			left -= w
			out |= 1 << i
		} else {
			most = max(most, far[i])
		}
	}
	return out, most
}

// far is how far from the best a track reaches, for an order only, s.
func (b *Bank) far(i int) float64 {
	t := &b.tracks[i]
	switch {
	case b.weight[i] == 0:
		return 0
	case !t.Located:
		return farthestOut
	}
	d, w := b.apart(b.Best(), t), wide*t.F.Sigma(estimate.X)
	return max(math.Abs(d+t.Lo-w), math.Abs(d+t.Hi+w))
}

// tail is the z beyond which a Gaussian has the probability p on one side, at least 0.
func tail(p float64) float64 {
	if p >= 0.5 {
		return 0
	}
	return math.Sqrt2 * math.Erfcinv(2*p)
}

// Alive tells whether the i-th track is one that the guard reckons with.
func (b *Bank) Alive(i int) bool { return b.weight[i] > 0 && b.z[i] >= 0 }

// reckons is Alive of one of the bank's own tracks.
func (b *Bank) reckons(t *Track) bool {
	for i := range b.tracks[:b.n] {
		if t == &b.tracks[i] {
			return b.Alive(i)
		}
	}
	return false
}

// rateTold is when anybody last told the best track the oscillator's rate: a source of
// UTC, or a hardware clock that is steadier.
func (b *Bank) rateTold() timescale.Local {
	t := b.Best()
	if t.Clocked && b.cfg.ClockWander <= clockSteady {
		return max(t.rated, t.ticked)
	}
	return t.rated
}

// Reach is where the i-th track puts UTC: off s from the best, and lo to hi around the best
// so far as the guard spans it by this track alone.
func (b *Bank) Reach(i int) (off, lo, hi float64) {
	t := &b.tracks[i]
	if !t.Located {
		return 0, math.Inf(-1), math.Inf(1)
	}
	off = b.apart(b.Best(), t)
	lo, hi = t.Span(0, max(b.z[i], 0), floor)
	return off, off + lo, off + hi
}

// FormerReach is the same of the i-th former state.
func (b *Bank) FormerReach(i int) (off, lo, hi float64) {
	t := &b.former.track[i]
	off = b.apart(b.Best(), t)
	lo, hi = t.Span(float64(b.Best().F.At-t.F.At)/1e9, tail(spent/2/b.former.weight[i]), floor)
	return off, off + lo, off + hi
}

// Former is how old each former state is, 0 where there is none.
func (b *Bank) Former() (age [len(ages)]time.Duration) {
	for i, t := range b.former.taken {
		if t != 0 {
			age[i] = b.Best().F.At.Sub(t)
		}
	}
	return age
}

// apart is by how much UTC is later in t than in best, s.
func (b *Bank) apart(best, t *Track) float64 {
	return float64(t.F.Base-best.F.Base)/1e9 + t.F.V[estimate.X] - best.F.V[estimate.X] +
		(t.F.V[estimate.Y])*float64(best.F.At-t.F.At)/1e9
}

// formerWeight is how likely it is that the receiver has been false since the i-th former
// state was kept, but not since the younger one was: its price is that of 12 h, of which
// this is a part; the strain speaks for it.
func (b *Bank) formerWeight(i int) float64 {
	f := &b.former
	if f.taken[i] == 0 {
		return 0
	}
	part := b.Best().F.At.Sub(f.taken[i])
	if i > 0 && f.taken[i-1] != 0 {
		part = f.taken[i-1].Sub(f.taken[i])
	}
	return min(math.Exp(b.Best().Strain-b.nats[ReceiverFalse]-f.owes[i])*max(part.Seconds(), 1)/night, 1)
}

// night is what the prices are of, s: 12 h by definition.
const night = 12 * 3600

// stepSince is how far an oscillator that changed its rate at some time in the last t
// seconds, when nobody could see it, has gone at most, s. The time is uniform and the
// size log-uniform from 1 to 20 ppm, so that it has gone further than g = a·20 ppm·t with
// the chance
//
//	P·t/night · (ln(1/a) − 1 + a) / ln 20,
//
// which is a quarter of Risk; a by Newton's method.
func (b *Bank) stepSince(t float64) float64 {
	if t <= 0 || !b.allowed(OscillatorMoved) {
		return 0
	}
	c := b.stepOdds() / t
	if c > 30 { // a is below 1e-13
		return 0
	}
	a := math.Exp(-1 - c) // the root where a is small, from below
	for range 6 {
		a += (math.Log(1/a) - 1 + a - c) / (1/a - 1)
	}
	return oscillatorStep * a * t
}

// Bound is the half-width of the 99 % interval of the best track, s.
func (b *Bank) Bound() float64 { return b.Best().bound() }

func (t *Track) bound() float64 {
	lo, hi := t.Span(0, Likely, likelyFloor)
	return max(-lo, hi)
}

// Proved is what is the same in all tracks that the guard reckons with.
type Proved struct{ Date, Second, Lateness bool }

// Proved tells what is proved: the day; the second, where no track has another and all
// that hear no receiver are within a second; the lateness, where every track that hears
// the receiver knows it.
func (b *Bank) Proved() Proved {
	best := b.Best()
	p := Proved{Date: best.Located, Second: best.Located && b.oneSecond(true), Lateness: best.streams()}
	for i := range b.tracks[:b.n] {
		if !b.Alive(i) {
			continue
		}
		t := &b.tracks[i]
		p.Date = p.Date && t.Dated
		if t.streams() {
			loose := b.late.Loose && t.F.Sigma(estimate.D) >= proved
			p.Lateness = p.Lateness && !t.Free && !loose && math.Abs(t.F.V[estimate.D]-best.F.V[estimate.D]) < wide*proved
		}
	}
	p.Lateness = p.Lateness && p.Second
	return p
}

// oneSecond tells whether all tracks that the guard reckons with are of one second; with
// or without those that wait for leap-second data.
func (b *Bank) oneSecond(waiting bool) bool {
	best := b.Best()
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if !b.Alive(i) || !waiting && t.waits() {
			continue
		}
		if !t.Located {
			return false
		}
		lo, hi := t.Lo, t.Hi
		if !t.streams() {
			lo, hi = t.Span(0, b.z[i], floor)
		}
		// Two that hear one stream with one lead are of one second, wherever in its range the untold lateness has them.
		same := t.Free && best.Free && t.streams() && best.streams() && t.Lead == best.Lead
		if hi-lo >= 1 || t.LeadMost != t.Lead || !same && math.Abs(b.apart(best, t)) >= otherSecond {
			return false
		}
	}
	return true
}

// Rated is up to when a move of the oscillator would have shown in the best track, by others
// than the hardware clock.
func (b *Bank) Rated() timescale.Local { return b.Best().rated }

// Told is when somebody else than the hardware clock last told the best track.
func (b *Bank) Told() timescale.Local { return b.Best().told }

// Own is the half-width that the best track leaves by itself, s.
func (b *Bank) Own() float64 {
	lo, hi := b.Best().Span(0, b.z[b.best], floor)
	return max(-lo, hi)
}
