package bank

import (
	"math"
	"time"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// MaxAssumed is how many assumptions a track names; the oldest go first (no source: no scenario has more at a time).
const MaxAssumed = 6

// Assumed is an assumption that a track makes.
type Assumed struct {
	What  Assumption
	Of    Source
	Since timescale.Local
	SizeS float64 // s: by how much, where that has a meaning
	Slow  bool    // it went there bit by bit

	at timescale.Local // of an oscillator that moved: when that was seen
}

// Track is one explanation of all that was heard.
type Track struct {
	F       estimate.Filter
	Cost    float64 // nats: the prices of what it assumes
	Strain  float64 // nats: how badly the receiver fits what was known before, at its last look
	Out     Set     // it takes these to be false
	On      Set     // its UTC rests on these, who spoke in this run …
	Roots   Set     // … and who have it from these, maybe in an earlier one
	Located bool    // UTC is known at all
	Dated   bool    // … and the day
	Latent  bool    // nobody has contradicted what it leaves out: believed false by nobody yet
	Lurked  Set     // whom it left out when it was born, for one reading or none
	born    float64 // nats: … what it paid for the servers among them, if several
	Met     bool    // the receiver's stream takes part
	Free    bool    // the stream's lateness is not proved: it is anywhere in its range
	Clocked bool    // the hardware clock has been compared …
	Vouched bool    // … in an earlier run: so it tells UTC
	// The receiver leads UTC by Lead to LeadMost whole seconds; X is for Lead.
	Lead, LeadMost int
	// Lo and Hi are where else X may lie, s, Lo ≤ 0 ≤ Hi: what is open and not Gaussian.
	Lo, Hi   float64
	LateMost float64 // s: the lateness is at most this

	id       uint32          // another for each explanation: former states are of one
	told     timescale.Local // when others than the hardware clock last told UTC …
	rated    timescale.Local // … and up to when a move of the oscillator would have shown
	ticked   timescale.Local // when the hardware clock was last heard
	assumed  [MaxAssumed]Assumed
	nAssumed int
	before   float64             // nats, of its cost: for a lateness, not known yet, of the second before
	streamed bool                // in the run before the receiver told UTC, and led by nothing …
	heldLate float64             // … and was so late, s
	outPaid  Set                 // whom that run took to be false by this account: it paid for that …
	leadPaid bool                // … and for a receiver that leads
	missed   bool                // the receiver leads although a page has been due
	way      int8                // which way the receiver has moved while it was out, as was paid for: −1, 1; 0 = it has not
	paid     [2]paid             // what it last paid for that, the latest first
	covered  timescale.Local     // since when another false signal was there, as was paid for
	heads    float64             // nats, of its cost: for servers that say the same, more than where others tell UTC too
	aired    float64             // nats, of its cost: for crowds that it foretold worse than others
	away     float64             // s: how far the receiver was when it last did not fit, while it is out
	steady   float64             // s: how far from X the stream was when it began to fit again
	off      [NumSources]float32 // s: how far a source that is out was when it last did not fit
	odd      [NumSources]uint8   // readings in a row that did not fit, or of one that is out: that did
}

// Assumptions are what the track assumes, the oldest first.
func (t *Track) Assumptions() []Assumed { return t.assumed[:t.nAssumed] }

// Assumes tells whether the track assumes a of any source.
func (t *Track) Assumes(a Assumption) bool {
	for i := range t.assumed[:t.nAssumed] {
		if t.assumed[i].What == a {
			return true
		}
	}
	return false
}

// assumes tells whether the track assumes a of one source.
func (t *Track) assumes(a Assumption, of Source) bool { return t.assumesBy(a, of, math.MaxInt64) }

// beyond tells whether the track assumes all that u does, as early, and more. Who believed a source for longer than u
// did has its UTC from elsewhere.
func (t *Track) beyond(u *Track) bool {
	for i := range u.assumed[:u.nAssumed] {
		if a := &u.assumed[i]; !t.assumesBy(a.What, a.Of, a.Since.Add(sameEvent)) {
			return false
		}
	}
	return t.nAssumed > u.nAssumed && u.nAssumed < MaxAssumed && u.Out.Only(t.Out) && t.Out != u.Out
}

// sameEvent: so far apart two accounts may part with a source for the same reason (assumption: the age of the former
// state against which a drag of 60 ppm or more is seen, ages).
const sameEvent = 10 * time.Minute

// assumesBy tells whether the track assumes a of one source, since then or before.
func (t *Track) assumesBy(a Assumption, of Source, since timescale.Local) bool {
	for i := range t.assumed[:t.nAssumed] {
		if s := &t.assumed[i]; s.What == a && s.Of == of && s.Since <= since {
			return true
		}
	}
	return false
}

// parted is since when the track last took the receiver to be false, 0 = never, or it has
// forgotten.
func (t *Track) parted() (since timescale.Local) {
	for i := range t.assumed[:t.nAssumed] {
		if t.assumed[i].What == ReceiverFalse {
			since = t.assumed[i].Since
		}
	}
	return since
}

// assume adds an assumption at its price.
func (t *Track) assume(a Assumed, nats float64) {
	t.Cost += nats
	if t.nAssumed == MaxAssumed {
		copy(t.assumed[:], t.assumed[1:])
		t.nAssumed--
	}
	t.assumed[t.nAssumed] = a
	t.nAssumed++
}

// total is the track's cost with its present strain, nats. Strain that is easy speaks against
// nobody: a false receiver would be anywhere within leapt, at a look a density lower by
// ln(2·leapt/(dragFloor·√2π)) = 2.8 nats than that of one whose looks scatter.
func (t *Track) total() float64 { return t.Cost + max(t.Strain-easyStrain, 0) }

// hears tells whether a source takes part in the track.
func (t *Track) hears(s Source) bool { return !t.Out.Has(s) }

// streams tells whether the receiver's sentences take part.
func (t *Track) streams() bool { return t.Met && t.hears(Receiver) }

// gap is by how much v, relative to X, lies outside what is open besides the Gaussian, s.
func (t *Track) gap(v float64) float64 {
	switch {
	case v < t.Lo:
		return v - t.Lo
	case v > t.Hi:
		return v - t.Hi
	}
	return 0
}

// nats is the misfit of an innovation nu with variance v, capped.
func nats(nu, v float64) float64 { return math.Min(nu*nu/(2*v), capped) }

// heavy is the variance with which a reading nu off counts, where it is expected to the
// variance v and has r of its own: beyond 3 σ its weight falls off, for the tails of
// arrival times are long (Huber).
func heavy(nu, v, r float64) float64 {
	if q := nu * nu / (seldom * seldom * (v + r)); q > 1 {
		return (v+r)*q - v
	}
	return r
}

// late tells whether the lateness can be d, known to σ, s.
func (t *Track) late(d, sigma float64) bool {
	m := edge + seldom*sigma
	return d > -m && d < t.LateMost+m
}

// silence takes the receiver out, from now on. Where the stream was is kept on, by the
// oscillator, as X − D.
func (t *Track) silence() {
	t.Out |= SetOf(Receiver, Pulse)
	t.odd[Receiver], t.Strain = 0, 0
}

// knownWell tells whether UTC is known better than a stream of unknown lateness would tell it,
// what the track leaves open included.
func (t *Track) knownWell() bool {
	return math.Hypot(t.F.Sigma(estimate.X), (t.Hi-t.Lo)/2) < knownWell
}

// width is the half-width of all the track's UTC may be at z σ, s.
func (t *Track) width(z float64) float64 {
	lo, hi := t.Span(0, z, floor)
	return (hi - lo) / 2
}

// Span is where UTC lies around X by this track after ahead more seconds without a
// reading, at z σ, with share the σ of what no filter sees where the receiver carries.
func (t *Track) Span(ahead, z, share float64) (lo, hi float64) {
	v := t.F.Ahead(ahead)
	carries := t.On.Has(Receiver) && !t.On.Any(SetOf(Pulse))
	if carries {
		v += share * share
	}
	g := z * math.Sqrt(v)
	lo, hi = -g, g
	if t.Free && t.Met && carries {
		// UTC is the stream and its lateness, which is between 0 and LateMost.
		_, s := t.F.Expect(estimate.Stream)
		grown := t.F.Ahead(ahead) - t.F.P[estimate.X][estimate.X] + ahead*(t.F.Noise.D-2*t.F.P[estimate.Y][estimate.D])
		m := z * math.Sqrt(s+math.Max(grown, 0))
		d := t.F.V[estimate.D]
		if l, h := math.Max(lo, -d-m), math.Min(hi, t.LateMost-d+m); l < h {
			lo, hi = l, h
		}
	}
	return lo + t.Lo, hi + t.Hi
}

// part is the same as a distribution: where UTC is by this track, for the equation.
func (t *Track) part(q *part, ahead float64) {
	v := t.F.Ahead(ahead)
	grown := v - t.F.P[estimate.X][estimate.X]
	carries := t.On.Has(Receiver) && !t.On.Any(SetOf(Pulse))
	if carries {
		v += floor * floor
	}
	q.sigma, q.lo, q.hi, q.cut = math.Sqrt(math.Max(v, leastVar)), t.Lo, t.Hi, t.Free && t.Met && carries
	if !q.cut {
		return
	}
	_, s := t.F.Expect(estimate.Stream)
	s += math.Max(grown+ahead*(t.F.Noise.D-2*t.F.P[estimate.Y][estimate.D]), 0)
	d := t.F.V[estimate.D]
	q.early, q.late, q.stream = d, t.LateMost-d, math.Sqrt(math.Max(s, leastVar))
	q.thick = 2 / (math.Sqrt(2*math.Pi) * math.Max(t.F.Sigma(estimate.D), floor)) // half of it at most is cut off
}
