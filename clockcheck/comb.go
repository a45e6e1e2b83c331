package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// comb follows the edges of one kind.
type comb struct {
	at       timescale.Local // the last edge that continued it
	run      int
	spare    timescale.Local // the last edge that did not
	spareRun int
}

// take reports whether an edge continues the comb. A comb that has been lost gives
// way to another that is regular.
func (c *comb) take(at timescale.Local) bool {
	if c.run == 0 || continues(at, c.at) {
		c.at, c.run, c.spareRun = at, c.run+1, 0
		return true
	}
	if c.spareRun > 0 && continues(at, c.spare) {
		c.spareRun++
	} else {
		c.spareRun = 1
	}
	c.spare = at
	if c.spareRun >= combRun && at.Sub(c.at) > combLost {
		*c = comb{at: at, run: c.spareRun}
		return true
	}
	return false
}

func continues(at, last timescale.Local) bool {
	s := at.Sub(last).Seconds()
	n := math.Round(s)
	return n >= 1 && n <= combGap && math.Abs(s-n) < combFloor+combRate*n
}

func (c *comb) steady(at timescale.Local) bool {
	return c.run >= combRun && at.Sub(c.at) < combLost
}

// stands tells whether the pulse, numbered or not, has gone on for a minute and up to now.
func (p *pulse) stands(at timescale.Local) bool {
	for i := range p.combs {
		if c := &p.combs[i]; c.run >= 60 && at.Sub(c.at) < 2*time.Second {
			return true
		}
	}
	return false
}

// count keeps how many edges are spurious; it reports whether this one is to be used.
func (p *pulse) count(fits bool) bool {
	if fits {
		p.odd = math.Max(p.odd-0.25, 0)
	} else {
		p.odd = math.Min(p.odd+1, 2*oddMost)
	}
	if p.odd > oddMost {
		p.often = true
	} else if p.odd == 0 {
		p.often = false
	}
	return fits && !p.often
}
