package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

const (
	// tieKeep readings of one source, none older than tieOld, are taken together.
	tieKeep = 8
	tieOld  = 25 * time.Minute
	// So many make the tie by which a drag is seen.
	tieFirst = 4
	// pooled: the error of a mean of few, with weights from their own bounds, in parts of
	// what the weights say.
	pooled = 1.2
)

// said is one reading of the air beside the receiver's stream.
type said struct {
	at     timescale.Local
	stream float64 // s: the air less where the stream is expected
	x      float64 // s: the air less the estimate
	part   float64 // s: half-width of what is its own, 99 %
	common float64 // s: … and of what all readings of the source share
	of     int     // readings that count, of a mean
}

// tie is where a source of the air has the receiver's stream: now, and when it was first heard
// beside it. Filter, sound and way are in both, so that they may differ by little more than
// the readings' own parts: a receiver led away slowly is seen before it leaves the bound.
// The first is kept: one that followed would be led along.
type tie struct {
	ring  [tieKeep]said
	n     int
	first said // at 0 = not yet
}

// pool takes a reading into the tie and returns the mean of those that count.
func (t *tie) pool(s said) (mean said) {
	if t.n == tieKeep {
		copy(t.ring[:], t.ring[1:])
		t.n--
	}
	t.ring[t.n] = s
	t.n++
	weights := 0.0
	mean = said{at: s.at, common: s.common}
	counted := 0
	for _, o := range t.ring[:t.n] {
		if s.at.Sub(o.at) > tieOld || math.Abs(o.stream-s.stream) > o.part+s.part+s.common {
			continue // too old, or another story: the newest is believed
		}
		w := 1 / sq(o.part)
		weights, counted = weights+w, counted+1
		mean.stream, mean.x = mean.stream+w*o.stream, mean.x+w*o.x
	}
	mean.stream, mean.x = mean.stream/weights, mean.x/weights
	if mean.part = s.part; counted > 1 {
		mean.part = pooled / math.Sqrt(weights)
	}
	mean.of = counted
	return mean
}

// begin keeps a mean that agrees as the first. One that contradicts is no place to come from: the
// receiver that was whole seconds ahead until its leap-second data came would stay doubted.
func (t *tie) begin(m said) {
	if t.first.at == 0 && m.of >= tieFirst {
		t.first = m
	}
}

// forgetTies is called where the estimate or the stream is another than before.
func (j *Judge) forgetTies() {
	for i := range j.marks {
		j.marks[i].tie = tie{}
	}
}

// streamMoved tells whether the stream lies elsewhere than when it was first heard beside the
// source: from there and from the estimate, for a latency that leapt moves only one of
// them. Half of what is common may change in a night (another band, another filter;
// common practice, no source).
func (t *tie) streamMoved(m said, doubted bool) bool {
	if t.first.at == 0 {
		return false
	}
	limit := m.part + t.first.part + m.common/2
	if doubted {
		limit /= 2
	}
	return math.Min(math.Abs(m.stream-t.first.stream), math.Abs(m.x-t.first.x)) > limit
}

// pooledAir is a reading of the air together with those before it, while the receiver is heard
// beside it: their own parts average, what they share does not.
func (j *Judge) pooledAir(r *Air, t *tie) (out Air, m said) {
	out = *r
	if !j.x.known || !j.receiverLive(r.At) {
		return out, said{}
	}
	c := j.rel(r.At, int64(r.UTC)-int64(r.At))
	if p := r.Modulo.Seconds(); p > 0 {
		c = math.Remainder(c, p)
	}
	common := r.Common.Seconds()
	if common <= 0 || common >= r.Bound.Seconds() {
		common = r.Bound.Seconds() / 2
	}
	m = t.pool(said{at: r.At, stream: c + j.f.v[sD], x: c, part: r.Bound.Seconds() - common, common: common})
	out.UTC = r.UTC.Add(time.Duration((m.stream - (c + j.f.v[sD])) * 1e9))
	out.Bound = time.Duration((common + m.part) * 1e9)
	return out, m
}
