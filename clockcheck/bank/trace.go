package bank

import "noonmark/clockcheck/estimate"

// Made is what one track made of a reading.
type Made struct {
	Track      int     // its place among the tracks
	NuS        float64 // innovation, s
	VarS2      float64 // its variance by the track, s²
	Nats       float64 // misfit, nats; beyond the gate it is not the track's own
	Cost, Then float64 // nats, before and after
	Out        Set
	Assumed    []Assumed
}

// Trace is shown each reading and what each track made of it. nil = nobody looks.
type Trace interface {
	Reading(r Reading)
	Made(m Made)
}

// Watch names who is shown everything; nil ends it.
func (b *Bank) Watch(t Trace) { b.trace = t }

// view is how a track sees a reading before it hears it.
func (t *Track) view(r *Reading) (nu, v float64) {
	if !t.Located {
		return 0, 0
	}
	o, lead, z := estimate.Time, 0.0, r.Z
	switch r.Source {
	case Receiver:
		o, lead = estimate.Stream, float64(t.Lead)
	case Clock:
		o, z = estimate.Clock, r.Z-t.F.ClockBase
	}
	mean, pv := t.F.Expect(o)
	if r.Source == Crowd {
		return t.F.Rel(r.At, z) - lead - mean, t.seen(r)
	}
	return t.F.Rel(r.At, z) - lead - mean, pv + r.Var + r.Common*r.Common
}
