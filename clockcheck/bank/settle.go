package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
)

// After each reading: which track is the cheapest, which are equal, too dear, too many.

// settle finds the cheapest track, lets latent ones live once it had to pay, joins equal
// ones, and leaves out what is too dear. A track that lived once is latent again when it
// assumes all that the best does and, besides, what it was born with: its assumption
// explains nothing any more, and is no likelier than it was then.
func (b *Bank) settle() {
	b.best = b.cheapest()
	base := b.tracks[b.best].total()
	for i := range b.tracks[:b.n] {
		b.lurk(&b.tracks[i])
	}
	for i := b.n - 1; i >= 0; i-- {
		if i != b.best && (b.tracks[i].total()-b.tracks[i].heads-base > tooDear || b.twin(i) >= 0) {
			b.remove(i)
		}
	}
	if base = b.tracks[b.best].Cost; base > 0 { // only differences count
		for i := range b.tracks[:b.n] {
			b.tracks[i].Cost -= base
		}
	}
	b.weigh()
}

// lurk lets a track be latent, or live. A latent one is as dear as what it assumed at its birth, its last
// assumption or several servers: where the best is not cheaper by half of that, the best has had to assume
// something itself.
func (b *Bank) lurk(t *Track) {
	best := &b.tracks[b.best]
	dearer, dear := t.Cost-best.Cost, b.nats[ServerFalse]
	if t.nAssumed > 0 {
		dear = b.nats[t.assumed[t.nAssumed-1].What]
	}
	dear = math.Max(dear, t.born)
	likely := dearer < dear/2
	switch {
	case !t.Located:
		if likely = likely && b.borneOutBy(t); t.Latent && likely {
			t.Latent, t.Lurked = false, t.Out
		} else if t.Lurked != 0 && !likely {
			t.Latent = true
		}
	case t.Latent:
		t.Latent = !likely && t.Cost-b.hearsAll(t) >= dear/2
	case t.Lurked != 0:
		t.Latent = dearer > b.nats[falseOf(t.Lurked.first())]-rounding && t.beyond(best)
	}
}

// hearsAll is the cost of the cheapest account that hears everybody, where the latent t leaves out
// only whom it was born without. If that had to pay, this witness and the others contradict each
// other, though the best account disbelieves the others: for free maybe, by a doubt that an earlier
// run left. −Inf = there is none, or it has met a receiver that t has not: one that has just taken that back
// and not met it yet is dearer, and tells nothing.
func (b *Bank) hearsAll(t *Track) float64 {
	least, met := math.Inf(1), !t.Met
	for i := range b.tracks[:b.n] {
		if u := &b.tracks[i]; t.Out == t.Lurked && u.Out == 0 && !u.Latent && u.Cost < least {
			least, met = u.Cost, u.Met
		}
	}
	if met != t.Met {
		return math.Inf(-1)
	}
	return least
}

// borneOutBy tells whether somebody whom t hears speaks for it, though t knows no place: the
// best track had to take that source to be false. Then UTC may be anywhere.
func (b *Bank) borneOutBy(t *Track) bool {
	best := &b.tracks[b.best]
	if !best.Located {
		return false
	}
	for _, a := range best.Assumptions() {
		if a.What == falseOf(a.Of) && t.hears(a.Of) {
			return true
		}
	}
	return false
}

// rounding is by how much sums of prices, nats, may differ for the order of their terms: ten terms of 10 nats
// differ by 100 · 2⁻⁵² = 2e-14 at most; any small number does.
const rounding = 1e-6

// cheapest is the track with the least cost; the one that was stays where another is
// cheaper by nothing that matters, and one that knows UTC comes before one that does not.
func (b *Bank) cheapest() int {
	better := func(t, u *Track) bool {
		if t.Latent != u.Latent {
			return !t.Latent
		}
		if t.Located != u.Located {
			return t.Located
		}
		return t.total() < u.total()-likelier
	}
	best := min(b.best, b.n-1)
	for i := range b.tracks[:b.n] {
		if better(&b.tracks[i], &b.tracks[best]) {
			best = i
		}
	}
	return best
}

// twin finds a cheaper track that says the same as the i-th: the same sources, the same
// second, and an X within what either leaves open. −1 = none.
func (b *Bank) twin(i int) int {
	t := &b.tracks[i]
	mine := t.total()
	for k := range b.tracks[:b.n] {
		u := &b.tracks[k]
		if k == i || u.Out != t.Out || u.Lead != t.Lead || u.Met != t.Met {
			continue
		}
		if yours := u.total(); yours > mine || yours == mine && k > i {
			continue
		}
		same := t.Located == u.Located && t.Latent == u.Latent && t.Free == u.Free &&
			t.LeadMost == u.LeadMost && t.F.Noise == u.F.Noise
		if same && (!t.Located || t.Lo == u.Lo && t.Hi == u.Hi && near(t, u)) {
			return k
		}
	}
	return -1
}

// near tells whether two tracks put UTC at the same place, and its rate, to a tenth of
// their σ.
func near(t, u *Track) bool {
	d := float64(t.F.Base-u.F.Base)/1e9 + t.F.V[estimate.X] - u.F.V[estimate.X]
	s, q := t.F.Sigma(estimate.X), u.F.Sigma(estimate.X)
	y, p := t.F.Sigma(estimate.Y), u.F.Sigma(estimate.Y)
	return t.F.At == u.F.At && math.Abs(d) < nearShare*min(s, q)+nearX && s < (1+nearShare)*q+nearX &&
		math.Abs(t.F.V[estimate.Y]-u.F.V[estimate.Y]) < nearShare*min(y, p)+nearY && y < (1+nearShare)*p+nearY
}

func (b *Bank) remove(i int) {
	b.n--
	b.tracks[i] = b.tracks[b.n]
	if b.best == b.n {
		b.best = i
	}
}

// mergeDearest joins the two dearest located tracks to one: it costs what the cheaper
// costs, hears only whom both hear, and its UTC is anywhere either has it.
func (b *Bank) mergeDearest() {
	x, y := -1, -1
	for i := range b.tracks[:b.n] {
		switch c := b.tracks[i].total(); {
		case i == b.best:
		case x < 0 || c > b.tracks[x].total():
			x, y = i, x
		case y < 0 || c > b.tracks[y].total():
			y = i
		}
	}
	b.tracks[y].merge(&b.tracks[x])
	b.remove(x)
}

// merge makes t, the cheaper, span u too.
func (t *Track) merge(u *Track) {
	if u.Located && t.Located {
		d := float64(u.F.Base-t.F.Base)/1e9 + u.F.V[estimate.X] - t.F.V[estimate.X]
		lo, hi := u.Span(0, wide, floor)
		mine, yours := t.Span(0, wide, floor)
		t.Lo, t.Hi = t.Lo+min(0, d+lo-mine), t.Hi+max(0, d+hi-yours)
	} else if u.Located {
		*t, u = *u, t
	}
	t.Out |= u.Out
	t.Latent = t.Latent && u.Latent
	t.Dated = t.Dated && u.Dated
}
