package clockcheck

import "math"

// places are where a stream of unproved latency stood before it leapt, each in s later
// than where it stands now, the oldest first. A leap is one of the latency, or of a
// receiver that is or was lied to: so the truth may be what any of them had it be. Where
// the stream comes back to one of them, what came after that was the excursion.
type places struct {
	at [4]float64
	n  int
}

// samePlace: a stream that stands as before, s.
const samePlace = 0.035

// leapt says that the stream leapt by s.
func (p *places) leapt(s float64) {
	if p.n == len(p.at) { // all that counts are the outermost
		lo, hi := p.reach()
		p.at[0], p.at[1], p.n = lo, hi, 2
	}
	p.at[p.n] = 0
	p.n++
	for i := range p.at[:p.n] {
		p.at[i] -= s
	}
	for i, at := range p.at[:p.n] {
		if math.Abs(at) <= samePlace {
			p.n = i
			return
		}
	}
}

// reach is the hull of all places and the present one: lo ≤ 0 ≤ hi.
func (p *places) reach() (lo, hi float64) {
	for _, at := range p.at[:p.n] {
		lo, hi = math.Min(lo, at), math.Max(hi, at)
	}
	return lo, hi
}
