package bank

import "math"

// Doubted is whom explanations of an earlier run took to be false, all of them together, and how unlikely these
// explanations were; servers are one kind.
type Doubted struct {
	Whom Set
	Nats float64 // −ln of their weight
}

// kinds is the set with one bit for all servers.
func kinds(s Set) Set {
	if s.Any(Families) {
		s = s&^Families | SetOf(Server)
	}
	return s
}

// Doubts is whom the explanations take to be false, of those that the guard reckons with: what is kept says so.
func (b *Bank) Doubts() (out []Doubted) {
	weight := map[Set]float64{}
	var order []Set
	for i := range b.tracks[:b.n] {
		whom := kinds(b.tracks[i].Out)
		if !b.Alive(i) || whom == 0 {
			continue
		}
		if weight[whom] == 0 {
			order = append(order, whom)
		}
		weight[whom] += b.weight[i]
	}
	for _, whom := range order {
		out = append(out, Doubted{whom, -math.Log(math.Min(math.Max(weight[whom], Risk/2), 1))})
	}
	return out
}

// Doubted is all of these.
func (b *Bank) Doubted() (s Set) {
	for i := range b.tracks[:b.n] {
		if b.Alive(i) {
			s |= kinds(b.tracks[i].Out)
		}
	}
	return s
}

// DoubtAgain takes up what an earlier run doubted. It is to be taken up before anybody speaks: who has been believed
// already is not doubted by it.
func (b *Bank) DoubtAgain(of []Doubted) { b.doubts = of }

// natsOf is how unlikely those are together, nats, that take all of these to be false, or anybody; +Inf: nobody does.
func natsOf(all []Doubted, whom Set) float64 {
	sum := 0.0
	for _, d := range all {
		if whom.Only(d.Whom) {
			sum += math.Exp(-d.Nats)
		}
	}
	return -math.Log(math.Min(sum, 1))
}

// but is what is left without the doubt of some, whose place is elsewhere.
func but(all []Doubted, whom Set) (out []Doubted) {
	for _, d := range all {
		if d.Whom &^= whom; d.Whom != 0 {
			out = append(out, d)
		}
	}
	return out
}

// doubtedBefore is how unlikely the run before left it, nats, that a source is false, for a track that takes
// those to be false whom it does: one of two that contradict each other is, so who takes the one
// to be false has no reason to doubt the other. ok is false where that run had no such explanation.
func (b *Bank) doubtedBefore(t *Track, s Source) (nats float64, ok bool) {
	var any Set
	for _, d := range b.doubts {
		any |= d.Whom
	}
	out, given := kinds(t.Out)&any&^SetOf(kind(s)), 0.0
	if out != 0 {
		given = natsOf(b.doubts, out)
	}
	nats = natsOf(b.doubts, out|SetOf(kind(s))) - given
	return nats, any.Has(kind(s)) && !math.IsInf(nats, 0) && !math.IsNaN(nats)
}
