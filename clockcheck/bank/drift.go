package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// drifted adds, beside a track that a reading contradicts by nu s, one in which the oscillator
// went so far astray in age, s, the time in which nobody told it. Soon after others did it
// cannot have, but where its rate was never learned. What a stream has shown of it already costs
// the hardware clock's word nothing.
func (b *Bank) drifted(t *Track, r *Reading, nu, age float64, o estimate.Sight) {
	what, price := b.oscillator(t, nu, max(age, 1))
	if what != CrystalFar && (age <= clockQuiet.Seconds() || math.Abs(nu) >= forkStep*age) || !b.allowed(what) {
		return
	}
	c := *t
	c.F.Open(estimate.Y, nu*nu/(age*age))
	c.F.Open(estimate.X, nu*nu)
	switch o {
	case estimate.Clock:
		c.F.Measure(c.clockSays(r), o, r.Var+clockFloor*clockFloor)
		c.ticked = r.At
	case estimate.Stream:
		c.F.Measure(c.F.Rel(r.At, r.Z)-float64(c.Lead), o, r.Var)
		c.told = r.At
	case estimate.Time:
		b.take(&c, r, c.F.Rel(r.At, r.Z))
	}
	c.rated = r.At
	if r.Source == Clock && t.movedSince(t.ticked) {
		price = 0 // it is paid: the stream has shown the same move
	}
	c.assume(Assumed{What: what, Of: r.Source, Since: r.At, SizeS: nu, at: r.At}, price)
	b.add(c)
}

// movedSince tells whether the track has taken the oscillator to have moved since then.
func (t *Track) movedSince(then timescale.Local) bool {
	for _, a := range t.Assumptions() {
		if a.at != 0 && a.at > then {
			return true
		}
	}
	return false
}

// untold is for how long, s, nobody has told the track the oscillator's rate.
func (b *Bank) untold(t *Track, r *Reading) float64 {
	told := t.rated
	if t.Clocked && b.cfg.ClockWander <= clockSteady {
		told = max(told, t.ticked)
	}
	return r.At.Sub(told).Seconds()
}

// hasTurned tells whether a track foretold that the stream would leave a former state of another, kept at an instant, by
// nu seconds: it has paid for a move of the oscillator that the other does not assume, and its rate is so much
// another than the state's. A move that came since explains a part of that, as well.
func (t *Track) hasTurned(u, old *Track, r *Reading, nu float64, since timescale.Local) bool {
	age := r.At.Sub(since).Seconds()
	v := age*age*t.F.P[estimate.Y][estimate.Y] + r.Var + dragFloor*dragFloor
	for i := range t.assumed[:t.nAssumed] {
		a := &t.assumed[i]
		if a.at == 0 || u.movedAt(a.at) {
			continue
		}
		most := (t.F.V[estimate.Y] - old.F.V[estimate.Y]) * age
		least := most
		if a.at > since {
			least = 0
		}
		if nats(nu-math.Min(math.Max(nu, math.Min(least, most)), math.Max(least, most)), v) <= easyStrain {
			return true
		}
	}
	return false
}

// movedAt tells whether the track has the oscillator have moved, as was seen at that instant.
func (t *Track) movedAt(at timescale.Local) bool {
	for i := range t.assumed[:t.nAssumed] {
		if t.assumed[i].at == at {
			return true
		}
	}
	return false
}
