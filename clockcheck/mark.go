package clockcheck

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// Mark is an operator's mark: a keypress on the tone of a radio time signal, or a
// comparison with a clock that was borrowed, such as a telephone's. It is a reference
// like others, with a wide bound. Its error is the same for one person and one set,
// so that marks do not average below it.
type Mark struct {
	At       timescale.Local // when the marked instant was, all known delays taken off
	UTC      timescale.UTC   // what instant it was; 0 = the whole minute nearest to what is known
	Bound    time.Duration   // half-width that holds but for a blunder: person, sound, path
	Borrowed bool            // a borrowed clock, not a radio signal
	OurOwn   bool            // … that took its time from this station, or may have
}

const (
	markFresh = time.Hour        // so long x is said to stand on a mark
	markAgree = 6 * time.Hour    // so long a mark counts as a supporter or an opponent
	markAgain = 30 * time.Minute // a second mark that bears the first one out
	markRoom  = 25.0             // s: x must be known so well for the minute to be plain
)

// marked is the last mark of a kind.
type marked struct {
	at       timescale.Local
	z        int64 // UTC − local at at, ns
	bound    float64
	agrees   bool
	outvoted bool
	name     string // of the air: "crowd" or the station
	signals  int    // … heard
	heardAt  timescale.Local
	tie      tie
}

// ancBorrowed is what a borrowed clock stands on: somebody else's servers.
const ancBorrowed = ancServer << (maxServers + 1)

// The slots of marks: by ear, borrowed, and what the radio's sound tells (air.go).
const (
	slotEar = iota
	slotBorrowed
	slotCrowd
	slotStation // and one more
	markSlots   = slotStation + 2
)

var slotAncestry = [markSlots]ancestry{ancOperator, ancBorrowed, ancBorrowed << 1, ancBorrowed << 2, ancBorrowed << 3}

// ancAir are the ancestries of the air.
const ancAir = ancBorrowed<<1 | ancBorrowed<<2 | ancBorrowed<<3

// says is where a mark would have x be, relative to the estimate: the older the
// mark, the less the oscillator's rate lets it say.
func (j *Judge) says(m *marked) claim { return j.saysAhead(m, 0) }

// saysAhead is says after t more seconds.
func (j *Judge) saysAhead(m *marked, t float64) claim {
	r := j.rel(m.at, m.z)
	b := m.bound + guardZ*math.Sqrt(j.f.p[sY][sY]+q2X*t)*math.Max(float64(j.f.at-m.at)/1e9+t, 0)
	return claim{r - b, r + b}
}

// Mark takes a mark. It reports whether the mark could be placed: without UTC, and
// with nothing known to within half a minute, it cannot.
func (j *Judge) Mark(r *Mark) bool {
	if r.OurOwn && j.on(RuleAncestry) {
		j.note(r.At, "mark", "The borrowed clock took its time from this station: it is no witness.")
		return true
	}
	z, ok := j.markPlace(r)
	if !ok {
		return false
	}
	slot := slotEar
	if r.Borrowed {
		slot = slotBorrowed
	}
	m, anc := &j.marks[slot], slotAncestry[slot]
	before := *m
	*m = marked{at: r.At, z: z, bound: r.Bound.Seconds(), agrees: true}
	if !j.x.known {
		j.startFromMark(m, anc)
		return true
	}
	j.f.advance(r.At)
	alone := j.x.ancestry == anc && j.on(RuleAncestry) // x is this very person's word
	if c := j.says(m); alone && !c.meets(j.guardAround()) || !alone && !j.narrowSecond(r.At, c) {
		m.agrees = false
		j.note(r.At, "mark", "A mark differs by "+seconds(j.rel(m.at, m.z))+" from what was known.")
		if alone && before.at != 0 && !before.agrees && r.At.Sub(before.at) < markAgain && j.says(&before).meets(c) {
			m.agrees = true
			j.startFromMark(m, anc) // two marks against one
		}
		if !alone {
			j.resolve(r.At)
		}
		return true
	}
	j.acceptMark(r, m, anc)
	return true
}

// guardAround is what x may be by its own support.
func (j *Judge) guardAround() claim {
	lo, hi := j.interval(guardZ)
	return claim{lo, hi}
}

// markPlace says which UTC − local a mark claims, ns.
func (j *Judge) markPlace(r *Mark) (z int64, ok bool) {
	if r.UTC != 0 {
		return int64(r.UTC) - int64(r.At), true
	}
	if !j.x.known {
		return 0, false
	}
	if c := j.guardAround(); c.lo < -markRoom || c.hi > markRoom {
		return 0, false
	}
	minute := 60 * timescale.Second
	utc := int64(r.At) + j.f.base + int64((j.f.v[sX]-j.f.v[sY]*float64(j.f.at-r.At)/1e9)*1e9)
	return (utc+minute/2)/minute*minute - int64(r.At), true
}

// startFromMark defines x by a mark alone. The operator said the date.
func (j *Judge) startFromMark(m *marked, anc ancestry) {
	j.f.base, j.f.at = m.z, m.at
	j.f.start(0, sNo, sq(m.bound*serverSigma))
	j.x = known{known: true, dateProved: true, ancestry: anc, support: supportMark, markAt: m.at}
	j.watch, j.view, j.rtc.attached, j.rtc.independent = watch{}, streamView{}, false, false
	j.note(m.at, "started", "The time now comes from "+j.markWord()+".")
}

func (j *Judge) acceptMark(r *Mark, m *marked, anc ancestry) {
	if j.x.support == supportRTC || !j.receiverLive(r.At) && (j.x.netAt == 0 || r.At.Sub(j.x.netAt) > serverFresh) {
		if j.f.sigma(sX) > m.bound*serverSigma {
			j.x.support = supportMark
		}
	}
	j.x.markAt = r.At
	j.x.dateProved = j.x.dateProved || r.UTC != 0
	j.x.ancestry |= anc
	j.updateByWitness(j.zRel(r.At, m.z), m.bound*serverSigma)
	j.note(r.At, "mark", fmt.Sprintf("A mark agrees to within %.2f s.", m.bound))
	j.resolve(r.At)
}

// speaks tells whether a mark still counts.
func (m *marked) speaks(at timescale.Local) bool {
	return m.at != 0 && !m.outvoted && at.Sub(m.at) < markAgree
}

// markOpposes tells whether a mark that counts says something else than x.
func (j *Judge) markOpposes(m *marked) bool { return m.speaks(j.f.at) && !m.agrees }

// markWord names what x stands on where that is a mark.
func (j *Judge) markWord() string {
	if j.x.ancestry != 0 && j.x.ancestry&^ancAir == 0 {
		return "a radio time signal"
	}
	return "an operator's mark"
}

// MarkName is the name under which a mark stands among the references.
func MarkName(borrowed bool) string {
	if borrowed {
		return "borrowed clock"
	}
	return "mark by ear"
}

func (j *Judge) markReference(now timescale.Local, i int, dst *Judgement) (r Reference, ok bool) {
	m := &j.marks[i]
	if m.at == 0 {
		return r, false
	}
	if i >= slotCrowd {
		return j.airReference(now, m, dst), true
	}
	rel := j.rel(m.at, m.z)
	r = Reference{Name: MarkName(i == slotBorrowed), Kind: "operator", HasSaid: j.x.known, Error: dst.Error + j.view.correction - rel, Bound: m.bound, Age: age(now, m.at)}
	ago := forHowLong(now.Sub(m.at))
	switch {
	case now.Sub(m.at) > markAgree:
		r.Trust, r.State, r.Because = Silent, StateQuiet, "The last mark is "+ago+" old: mark again."
	case m.agrees:
		r.Trust, r.Because = Trusted, fmt.Sprintf("Marked %s ago to within %.2f s, and agrees.", ago, m.bound)
	case m.outvoted:
		r.Trust, r.State, r.Because = Doubted, StateOutvoted, "Outvoted: the mark differs by "+seconds(rel)+"."
	default:
		r.Trust, r.State, r.Because = Doubted, StateDisagrees, "The mark differs by "+seconds(rel)+", and there is no third to decide: mark again."
	}
	return r, true
}

// restartMarks says anew which marks agree, after a majority took x over.
func (j *Judge) restartMarks(at timescale.Local, win claim) {
	for i := range j.marks {
		m := &j.marks[i]
		if m.at == 0 {
			continue
		}
		m.agrees = j.says(m).meets(win)
		m.outvoted = !m.agrees
		if m.agrees && at.Sub(m.at) < markAgree {
			j.x.ancestry |= slotAncestry[i]
			j.x.markAt = m.at
		}
	}
	if j.x.ancestry != 0 && j.x.ancestry&^(ancOperator|ancBorrowed) == 0 {
		j.x.support, j.x.netAt = supportMark, 0
	}
}
