package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
)

// The guard as the solution of one equation. Each track k that is not left out, and each
// former state, is a part: a Gaussian about its X, moved by anything between Lo and Hi, and
// cut where an unproved lateness leaves its range. UTC lies further than g from the best
// track's X with the probability
//
//	R(g) = Σ w_k · P(|UTC − X| > g, given k),
//
// and the guard is the least g with R(g) ≤ spent, and what stepSince adds. Of Risk one half
// is for what is left out, a quarter is spent here, and the last is for an oscillator that
// moved unseen.
const spent = Risk / 4

// drawnIn is the part of it that the nearer side of the guard may take besides. The farther side has
// 15/16 left, and is ln(16/15)/3.9 = 0.02 σ wider for it.
const drawnIn = spent / 16

// lightest: parts of less weight count whole, wherever they are; all of them together, (MaxTracks +
// ages) · lightest, are a hundredth of spent.
const lightest = spent / 100 / (MaxTracks + float64(len(ages)))

// part is what the equation needs of one track, s.
type part struct {
	w      float64
	off    float64 // its X, from the best's
	sigma  float64
	lo, hi float64 // where else X may be
	cut    bool    // an unproved lateness: X is between −early and late, but for stream
	early  float64
	late   float64
	stream float64 // σ
	thick  float64 // 1/s: the lateness' density is nowhere higher
}

// parts are all of them, ahead s from the best track's instant.
type parts struct {
	of    [MaxTracks + len(ages)]part
	n     int
	light float64 // weight of those that are not listed
}

func (b *Bank) parts(ahead float64) (p parts) {
	best := b.Best()
	for i := range b.tracks[:b.n] {
		if b.Alive(i) {
			p.add(b, best, &b.tracks[i], b.weight[i], ahead)
		}
	}
	for i := range b.former.track {
		if w := b.former.weight[i]; w > 0 {
			p.add(b, best, &b.former.track[i], w, ahead)
		}
	}
	return p
}

func (p *parts) add(b *Bank, best, t *Track, w, ahead float64) {
	if w < lightest || !t.Located { // without a place, UTC is beyond any guard
		p.light += max(w, 0)
		return
	}
	q := &p.of[p.n]
	p.n++
	t.part(q, ahead+float64(best.F.At-t.F.At)/1e9) // a former state is as of the last reading
	q.w, q.off = w, b.apart(best, t)+(t.F.V[estimate.Y]-best.F.V[estimate.Y])*ahead
}

// above is the probability that UTC is later than g by some part; below, that it is
// earlier than −g.
func (p *parts) above(g float64) float64 {
	sum := p.light
	for i := range p.of[:p.n] {
		q := &p.of[i]
		sum += q.w * q.tail(g-q.off-q.hi)
	}
	return sum
}

func (p *parts) outside(g float64) float64 { return p.above(g) + p.below(g) }

func (p *parts) below(g float64) float64 {
	sum := p.light
	for i := range p.of[:p.n] {
		q := &p.of[i]
		x := g + q.off + q.lo
		t := beyond(x / q.sigma)
		if q.cut {
			t = min(t, beyond((x-q.early)/q.stream))
		}
		sum += q.w * t
	}
	return sum
}

// tail is the probability that X is later than x. A lateness whose density is thick at most
// adds, beyond the edge of its range, what the scatter of the stream carries over it:
// thick · ∫ P(scatter > u) du from there.
func (q *part) tail(x float64) float64 {
	t := beyond(x / q.sigma)
	if q.cut && t > 0 {
		t = min(t, q.thick*q.stream*loss((x-q.late)/q.stream))
	}
	return t
}

// nearGuard: the equation is solved to so much, as a part of the guard, and never below it: 1 ms, as it
// is printed, of 20 s (assumption: nobody asks for more).
const nearGuard = 5e-5

// solve finds the least g ≥ 0 with r(g) ≤ risk, begun at the last answer, which seldom
// moved: by the chord of ln r, and by halves where r has steps. It is never below, and at
// most farthestOut. From any guess it ends: each loop widens, narrows or halves what is finite.
func solve(r func(float64) float64, risk, guess float64) float64 {
	hi := 1e-6
	if guess > hi {
		hi = min(guess*(1+nearGuard/4), farthestOut)
	}
	lo, low, step := 0.0, 1.0, nearGuard/2
	high := r(hi)
	for ; high > risk; step *= 8 {
		if hi == farthestOut {
			return hi
		}
		lo, low, hi = hi, high, min(hi*(1+step), farthestOut)
		high = r(hi)
	}
	for ; lo == 0; step *= 8 {
		x := hi * (1 - min(step, 0.5))
		p := r(x)
		if p > risk {
			lo, low = x, p
		} else if hi, high = x, p; hi < 1e-6 {
			return hi
		}
	}
	for chord := true; hi-lo > nearGuard*hi; chord = !chord {
		mid := (lo + hi) / 2
		if chord && high > 0 {
			mid = lo + (hi-lo)*math.Log(low/risk)/math.Log(low/high) + nearGuard/2*hi
			mid = min(mid, hi-nearGuard/4*hi)
		}
		if p := r(mid); p > risk {
			lo, low = mid, p
		} else {
			hi, high = mid, p
		}
	}
	return hi
}

// farthestOut, s: nobody keeps a time so far from any other, 1e12/(365·86,400) = 32,000 years.
const farthestOut = 1e12

// Guard is where UTC may lie after ahead more seconds without a reading, relative to the
// best track's X (at its instant, or carried on with its rate), s: the farther side solves
// the equation, the nearer one is drawn in to its part of the risk.
func (b *Bank) Guard(ahead float64) (lo, hi float64) {
	p, step := b.parts(ahead), b.unseen(ahead)
	g := &b.guess
	g[0] = solve(p.outside, spent-drawnIn, g[0])
	lo, hi = g[0], g[0]
	if p.below(lo) < drawnIn {
		g[1] = solve(p.below, drawnIn, g[1])
		lo = min(g[1], lo)
	}
	if p.above(hi) < drawnIn {
		g[2] = solve(p.above, drawnIn, g[2])
		hi = min(g[2], hi)
	}
	return -lo - step, hi + step
}

// InPassing lets the guard be asked for what is kept, until back is called. What is judged later is the same to
// the last digit, whenever that was, for the next solution begins where the last one ended.
func (b *Bank) InPassing() (back func()) {
	was := b.guess
	return func() { b.guess = was }
}

// Half is the half-width of the guard after ahead more seconds, s: its farther side.
func (b *Bank) Half(ahead float64) float64 {
	lo, hi := b.Guard(ahead)
	return max(-lo, hi)
}

// Holds tells whether the guard of ahead more seconds without a reading, as it will be solved
// for then, is within g of what is c later than the best track's X, s.
func (b *Bank) Holds(g, c, ahead float64) bool {
	step := b.unseen(ahead)
	near, far := (g-math.Abs(c)-step)/(1+nearGuard), (g+math.Abs(c)-step)/(1+nearGuard)
	if near <= 0 {
		return false
	}
	p := b.parts(ahead)
	switch {
	case p.outside(near) <= spent-drawnIn:
		return true
	case c > 0:
		return p.below(near) <= drawnIn && p.outside(far) <= spent-drawnIn
	}
	return c < 0 && p.above(near) <= drawnIn && p.outside(far) <= spent-drawnIn
}

// unseen is how far the oscillator may have moved since anybody told its rate, s.
func (b *Bank) unseen(ahead float64) float64 {
	if told := b.rateTold(); told != 0 {
		return b.stepSince(b.Best().F.At.Sub(told).Seconds() + ahead)
	}
	return 0
}
