package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
)

// How a source that is taken to be false takes part again.

// ledAway tells whether the track has the receiver led away slowly.
func (t *Track) ledAway() bool {
	all := t.Assumptions()
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].What == ReceiverFalse {
			return all[i].Slow
		}
	}
	return false
}

// fitsAgain tells how far a reading of a source that the track takes to be false is from what the
// track has it say, z, to the variance v. ok is false where that tells nothing: where UTC may be
// anywhere, all fit; and beyond knownWell easyStrain is wider than leapt, so what is false fits as well as
// what is right. first: the receiver would be met as for the first time.
func (t *Track) fitsAgain(r *Reading) (z, v float64, first, ok bool) {
	if !t.Located || t.Latent || t.Hi-t.Lo >= anywhere {
		return 0, 0, false, false
	}
	switch {
	// Where the lateness is not known, the stream itself may be: the oscillator carries it.
	// Who was led away goes on with the lateness it had: any lateness would fit it.
	case r.Source == Receiver && t.Met && (!t.Free || !t.knownWell() || t.ledAway()):
		mean, pv := t.F.Expect(estimate.Stream)
		return t.F.Rel(r.At, r.Z) - float64(t.Lead) - mean, pv + r.Var + dragFloor*dragFloor, false, true
	case r.Source == Receiver && t.knownWell() && !t.Free: // of a known lateness, and not met in this run
		mean, pv := t.F.Expect(estimate.Stream)
		return t.gap(t.F.Rel(r.At, r.Z) - mean), pv + r.Var + dragFloor*dragFloor, true, true
	case r.Source == Receiver && t.knownWell():
		switch {
		case !t.fitsLead(r, 0):
			return t.amiss(r), amissVar, true, true
		case t.odd[Receiver] == 0:
			return 0, 1, true, true
		}
		// Any lateness in its range fits: so it must stay where it was at the first look that did.
		return t.F.Rel(r.At, r.Z) - t.F.V[estimate.X] - t.steady, r.Var + dragFloor*dragFloor, true, true
	case r.Source == Receiver || r.Source == Clock:
		return 0, 0, false, false
	}
	p, ok := t.place(r)
	return t.gap(p - t.F.V[estimate.X]), t.seen(r), false, ok && t.tells(r.Source)
}

// tells whether a source that was found to be false would be seen to be so still: the track knows UTC well, or
// leaves less open, end to end, than the source was off when it last did not fit. Where only the possibility was
// reckoned with, it was never off.
func (t *Track) tells(s Source) bool {
	return t.off[s] == 0 || t.knownWell() || 2*t.width(wide) < math.Abs(float64(t.off[s]))
}

// comeback lets a source take part again whose readings fit, one after the other, though
// the track takes it to be false. What that cost stays paid.
func (b *Bank) comeback(t *Track, r *Reading) {
	z, v, first, ok := t.fitsAgain(r)
	if !ok || r.isMark() && !t.knownWell() {
		b.markAgain(t, r)
		return
	}
	if nats(z, v) > easyStrain {
		t.off[r.Source] = float32(z)
		switch t.odd[r.Source] = 0; r.Source {
		case Receiver:
			if t.away != 0 && math.Abs(z-t.away) >= leapt {
				if !first {
					b.backElsewhere(t, r, z)
				}
				b.goneAgain(t, r)
			}
			t.away = z
		case Ear, Borrowed: // each mark is made on its own, and has its price
			if nats(z, v) > gate {
				t.Cost += b.nats[MarkFalse]
			}
		}
		return
	}
	if r.Source == Receiver && t.ledAway() && wide*math.Sqrt(v) > math.Abs(t.away) {
		return // it is not known where the stream would be to less than it went: who is still led away fits, too
	}
	most := uint8(againFits)
	switch {
	case r.Source != Receiver || math.Abs(t.away) >= leapt:
	case first:
		most = againSteady
	default:
		most = againLooks
	}
	if first {
		t.Met = false
	}
	if t.odd[r.Source] == 0 && r.Source == Receiver {
		t.steady = t.F.Rel(r.At, r.Z) - t.F.V[estimate.X]
	}
	if t.odd[r.Source]++; t.odd[r.Source] >= most {
		t.odd[r.Source], t.away = 0, 0
		if t.Out &^= SetOf(r.Source); r.Source == Receiver {
			t.Out &^= SetOf(Pulse)
			t.way = 0
			if most == againFits && !first {
				b.backAgain(t, math.Sqrt(v))
			}
		}
	}
}

// backElsewhere: a receiver that leapt away has leapt back, to z seconds from where the oscillator has carried
// its stream since. It may be right again, and the oscillator have gone astray by that much meanwhile: a false
// signal that happens to come so near is no likelier.
func (b *Bank) backElsewhere(t *Track, r *Reading, z float64) {
	c := *t
	c.takeBack()
	b.drifted(&c, r, z, b.untold(&c, r), estimate.Stream)
}

// goneAgain: a receiver that leaps though it is false may be right from now on, for false signals come and go (STRIKE3,
// UKMTO). Whom the track has heard meanwhile is false then, and was so all the time.
func (b *Bank) goneAgain(t *Track, r *Reading) {
	if t.Latent || t.On == 0 || t.Roots.Any(r.roots()) {
		return
	}
	c := *t
	c.takeBack()
	if _, _, ok := b.disbelieve(&c, t.On, r, false); ok {
		b.add(c)
	}
}

// takeBack has the track hear the receiver again, and its pulse.
func (t *Track) takeBack() {
	t.Out &^= SetOf(Receiver, Pulse)
	t.odd[Receiver], t.away, t.way = 0, 0, 0
}
