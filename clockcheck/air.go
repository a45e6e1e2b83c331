package clockcheck

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// Crowd is the Source of the crowd of stations.
const Crowd = "crowd"

const (
	// crowdLeast is the fewest signals that are a witness: one loud station is none
	// (assumption: five distinct stations are not one operator's doing).
	crowdLeast = 5
	// latencyByAir: with the air's bound a latency is known to so much, 1σ in s, and kept
	// at that (assumption: a crowd's bound of 0.15 s to 0.26 s at 99 % is about this).
	latencyByAir = 0.10
	// airQuiet: what the air confirms is an event so often at most (assumption; no verdict depends on it).
	airQuiet = 30 * time.Minute
)

// missingLeap tells whether a receiver may be this many seconds ahead for want of
// leap-second data: 18 less the count that its maker built in. A count of 1 to 6 is from
// before 1990 (tzdata, leapseconds: the seventh came on 1 January 1991, GPS − UTC then 7), when no receiver
// sent NMEA 0183 sentences with a date (from memory); 0 stands for no count at all.
func missingLeap(ahead int) bool { return ahead < 12 || ahead == leapMax }

// Air takes what the radio's sound told. It reports whether that could be placed: what
// is known modulo a period needs all else to be known to less than half of it.
func (j *Judge) Air(r *Air) bool {
	if r.Source == Crowd && r.Signals < crowdLeast || r.Bound <= 0 {
		return false
	}
	if j.x.known {
		j.f.advance(r.At)
	}
	slot := j.airSlot(r.Source)
	m, anc := &j.marks[slot], slotAncestry[slot]
	before := *m
	if before.name != r.Source {
		before = marked{}
	}
	said, mean := j.pooledAir(r, &before.tie)
	z, fits, ok := j.airPlace(&said)
	if !ok {
		return false
	}
	*m = marked{at: r.At, z: z, bound: said.Bound.Seconds(), agrees: true, name: r.Source, signals: r.Signals, heardAt: before.heardAt, tie: before.tie}
	if !j.x.known {
		j.startFromMark(m, anc)
		j.x.dateProved = true
		return true
	}
	alone := j.x.ancestry == anc && j.on(RuleAncestry) // x is this very witness's word
	fits = fits && !(mean.at != 0 && m.tie.streamMoved(mean, before.at != 0 && !before.agrees))
	if c := j.says(m); !fits || alone && !c.meets(j.guardAround()) || !alone && !j.narrowSecond(r.At, c) {
		m.agrees = false
		if before.at == 0 || before.agrees {
			j.note(r.At, "trust-changed", j.airHeard(m)+" That differs by "+seconds(j.rel(m.at, m.z))+" from what was known.")
		}
		if !alone {
			j.resolve(r.At)
		}
		return true
	}
	m.tie.begin(mean)
	j.airAgrees(r, m, anc, before)
	return true
}

func (j *Judge) airAgrees(r *Air, m *marked, anc ancestry, before marked) {
	if !before.agrees || r.At.Sub(m.heardAt) > airQuiet {
		j.note(r.At, "air", j.airHeard(m))
		m.heardAt = r.At
	}
	j.x.markAt = r.At
	j.x.dateProved = j.x.dateProved || r.Modulo == 0
	j.x.ancestry |= anc
	j.updateByWitness(j.zRel(r.At, m.z), m.bound*serverSigma)
	j.resolve(r.At)
}

// airHeard is the sentence for what was heard, by the clock as it was last seen.
func (j *Judge) airHeard(m *marked) string {
	who := "Heard " + m.name
	if m.name == Crowd {
		who = fmt.Sprintf("Heard %d stations", m.signals)
	}
	if !j.clock.set {
		return who + "."
	}
	e := float64(int64(j.clock.s1)-int64(j.clock.l1)-m.z) / 1e9
	return fmt.Sprintf("%s: the clock is %.2f s %s ± %.2f s.", who, math.Abs(e), fastOrSlow(e), m.bound)
}

// airSlot is where a source is kept: the crowd, or one of two stations.
func (j *Judge) airSlot(source string) int {
	if source == Crowd {
		return slotCrowd
	}
	a, b := &j.marks[slotStation], &j.marks[slotStation+1]
	if a.name == source || a.at == 0 || b.name != source && b.at != 0 && a.at < b.at {
		return slotStation
	}
	return slotStation + 1
}

// airPlace says which UTC − local the air claims, ns: of the instants that it may mean,
// the one nearest to what is known. fits tells whether that is where the references
// have it, and no other of the instants could be meant: only then does it prove the second. A receiver
// that may be whole seconds ahead is not moved by a source that knows the time modulo a
// period, for 7 s ahead and 8 s behind look the same to it.
func (j *Judge) airPlace(r *Air) (z int64, fits, ok bool) {
	z = int64(r.UTC) - int64(r.At)
	if r.Modulo == 0 {
		return z, true, true
	}
	if !j.x.known {
		return 0, false, false
	}
	period := r.Modulo.Seconds()
	c := math.Remainder(j.rel(r.At, z), period) // where it is, around the estimate
	bound := r.Bound.Seconds() + guardZ*j.f.sigma(sY)*math.Abs(float64(j.f.at-r.At))/1e9
	lo, hi := j.interval(guardZ)
	lo, hi = lo-float64(j.x.secLo), hi-float64(j.x.secHi)
	if hi-lo+2*bound >= period/2 {
		return 0, false, false
	}
	z += int64(math.Round((c - j.rel(r.At, z)) * 1e9))
	for s := j.x.secLo; s <= j.x.secHi; s++ {
		if s < 0 && !missingLeap(-s) {
			continue
		}
		own := claim{lo + float64(s), hi + float64(s)}
		k := math.Round(((own.lo+own.hi)/2 - c) / period)
		meets := claim{c + k*period - bound, c + k*period + bound}.meets(own)
		switch {
		case s == 0 && k == 0 && meets:
			fits = true
		case meets && k != 0 && fits0(lo, hi, c, bound):
			return 0, false, false // it agrees, and would with another second, too
		}
	}
	return z, fits, true
}

// fits0 tells whether a claim around c meets lo to hi.
func fits0(lo, hi, c, bound float64) bool { return claim{c - bound, c + bound}.meets(claim{lo, hi}) }

// airSpans tells whether the guard spans all that the air leaves open, though it agrees: where
// nothing but it stands beside the receiver, which may be led away as slowly as it likes.
func (j *Judge) airSpans(m *marked) bool {
	return m.agrees && m.speaks(j.f.at) && j.x.ancestry&^(ancReceiver|ancAir) == 0
}

// latencyKnown is how well a latency must be known to be called proved, 1σ in s.
func (j *Judge) latencyKnown() float64 {
	for i := slotCrowd; i < markSlots; i++ {
		if m := &j.marks[i]; m.agrees && m.speaks(j.f.at) {
			return latencyByAir
		}
	}
	return latencyProved
}

// airReference is what the air is among the references.
func (j *Judge) airReference(now timescale.Local, m *marked, dst *Judgement) Reference {
	rel := j.rel(m.at, m.z)
	r := Reference{Name: m.name, Kind: "air", HasSaid: j.x.known, Error: dst.Error + j.view.correction - rel, Bound: m.bound, Age: age(now, m.at), Signals: m.signals}
	who := m.name
	if who == Crowd {
		who = fmt.Sprintf("%d stations", m.signals)
	}
	ago := forHowLong(now.Sub(m.at))
	switch {
	case now.Sub(m.at) > markAgree:
		r.Trust, r.Because = Silent, "Last heard "+ago+" ago: listen again."
	case m.agrees:
		r.Trust, r.Because = Trusted, fmt.Sprintf("%s heard %s ago, to within %.2f s: agrees.", who, ago, m.bound)
	case m.outvoted:
		r.Trust, r.Because = Doubted, "Outvoted: "+who+" differ by "+seconds(rel)+"."
	default:
		r.Trust, r.Because = Doubted, who+" heard "+ago+" ago differ by "+seconds(rel)+", and there is no third to decide: compare with a time signal."
	}
	return r
}
