package bank

import "math"

// Who says the same as another that is false: by chance, or because both have it from one clock.

// fitsByChance: another that is false, or a receiver that leads, says the same as a source that is false by nu, s.
func (b *Bank) fitsByChance(t *Track, r *Reading, nu float64) {
	if w, ok := b.seconded(t, r); ok {
		t.assume(Assumed{What: FalseFits, Of: r.Source, Since: r.At}, b.chance(w, nu))
	} else if w, ok := t.atItsWord(r); ok {
		price := b.chance(w, float64(t.Lead))
		if r.Modulo > 0 {
			price = math.Min(price, chanceWithin(w, float64(t.Lead), r.Modulo))
		}
		t.assume(Assumed{What: FalseFits, Of: r.Source, Since: r.At}, price)
	}
}

// seconded tells whether a source that the track takes to be false, of another ancestry,
// last said what this reading says, to within w s.
func (b *Bank) seconded(t *Track, r *Reading) (w float64, yes bool) {
	if r.Modulo != 0 || !t.Located || r.Source == Clock {
		return 0, false
	}
	for s := range Source(NumSources) {
		if s == r.Source || !t.Out.Has(s) && !t.assumes(ClockSet, s) {
			continue
		}
		if w, yes = b.sameWord(s, r); yes {
			return w, true
		}
		if early := float64(b.last[s].z-r.Z) / 1e9; r.Source == Receiver && b.last[s].said && early > -w && early < t.LateMost+w {
			return t.LateMost/2 + w, true // but for a lateness
		}
	}
	return 0, false
}

// sameWord tells whether a source last said what a reading says, to within w s.
func (b *Bank) sameWord(s Source, r *Reading) (w float64, yes bool) {
	o := &b.last[s]
	w = o.bound + 2*r.sigma() + between
	return w, o.said && math.Abs(float64(r.Z-o.z))/1e9 < w
}

// ofOneClock tells whether a server says what another one last said that the track takes to be false: they may
// have it from one clock, whatever they name as theirs. So against a receiver, a hardware clock or a mark their
// number proves little. Among servers alone the most are believed (RFC 5905, section 11.2.1).
func (b *Bank) ofOneClock(t *Track, r *Reading) bool {
	return !t.Roots.Only(Families) && b.saidByAFalseServer(t, r)
}

// saidByAFalseServer tells whether a server says what another one last said that the track takes to be false.
func (b *Bank) saidByAFalseServer(t *Track, r *Reading) bool {
	if !Families.Has(r.Source) {
		return false
	}
	for s := Server; int(s) < NumSources; s++ {
		if _, same := b.sameWord(s, r); same && s != r.Source && t.Out.Has(s) {
			return true
		}
	}
	return false
}

// atItsWord tells whether a reading says what the receiver says, to within w s, though by
// the track the receiver leads by whole seconds: the reading is wrong by just as many.
func (t *Track) atItsWord(r *Reading) (w float64, yes bool) {
	if !t.Located || !t.streams() || t.Lead == 0 {
		return 0, false
	}
	if w = wide * r.sigma(); t.Free {
		w += t.LateMost / 2
	}
	one := t.leading(0)
	return w, one.fitsTime(r)
}
