package thermal

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// rough tells a thermometer that shows the processor's work from one that shows the
// board's temperature. What comes and goes within the hour the crystal feels little of:
// learned from that the slope comes out too small, and too sure. Air, sun and shade
// bend the curve by less than half a degree in ten minutes (a swing of ±12 °C a day by
// 0.02 °C; common practice for the rest, no source).
type rough struct {
	at timescale.Local
	n  int        // samples, ten minutes apart
	c  [2]float64 // the last two
	ms float64    // °C², mean square of second differences
}

const (
	// roughMost, °C: air, sun and shade bend the curve by less (see rough), a processor's load by
	// degrees (assumption).
	roughMost   = 0.5
	roughMemory = 36 // samples: 36 · 10 min = 6 h, half a night (assumption)
	// roughWarm: a computer warms up in its first hours; that is no sign. 12 · 10 min = 2 h
	// (assumption).
	roughWarm = 12
	// slowlySettles: what a restless thermometer shows over hours is of use all the same, as
	// roughWarm: 12 · 10 min.
	slowlySettles = 2 * time.Hour
)

// take brings in the smoothed temperature.
func (q *rough) take(at timescale.Local, c float64) {
	since := at.Sub(q.at)
	switch {
	case q.n == 0:
		q.c = [2]float64{c, c}
	case since < BlockLasts:
		return
	case since < 2*BlockLasts && q.n > roughWarm:
		d := c - 2*q.c[0] + q.c[1]
		q.ms += (d*d - q.ms) / float64(min(q.n-roughWarm, roughMemory))
	case since >= 2*BlockLasts:
		q.c[0] = c // a hole
	}
	q.n++
	q.at, q.c = at, [2]float64{c, q.c[0]}
}

// settled: the computer has warmed up.
func (q *rough) settled() bool { return q.n > roughWarm }

func (q *rough) restless() bool { return q.ms > sq(roughMost) }

// follow moves a smoothed value towards c.
func follow(v, c, dt float64, over time.Duration) float64 {
	return v + (c-v)*(1-math.Exp(-dt/over.Seconds()))
}

func sq(v float64) float64 { return v * v }
