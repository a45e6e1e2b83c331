// Package pulse admits the edges of a receiver's pulse. A pulse marks the second within
// microseconds and says nothing else: not which second, not which of its two edges is
// meant, not whether the receiver knows the time. Here an edge must continue the comb of
// its kind once a second while its receiver has a fix; which second it is, the bank works
// out by what it knows. A value machine, for one goroutine.
package pulse

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

const (
	FixFresh  = 5 * time.Second  // its receiver's last valid epoch is no older
	Settle    = 10 * time.Second // of valid fix; receivers align their pulse after it
	fresh     = 5 * time.Second
	combRun   = 5      // edges that continue one another
	combRate  = 150e-6 // s/s: no oscillator is further off
	combLeast = 0.001  // s: interrupt latency, or the polling of a USB adapter
	combGap   = 300    // s: after a longer hole the comb begins again
	// shared is σ of what all edges share, s: interrupt latency, cable (planning figure).
	shared = 10e-6
	jitter = 300e-6 // s, σ: a busy computer, a USB adapter
	every  = 10     // edges of which one is passed on
)

// Wait is what a pulse that comes is waiting for.
type Wait int

const (
	Nothing Wait = iota
	Comb         // its edges are not a second apart
	Fix          // its receiver has no fix
	Which        // nobody has told which edge is the second
)

// Pulse follows the edges. Make one with New.
type Pulse struct {
	Why   string // when there is none: the reason, "" = nobody asked
	Heard timescale.Local
	Waits Wait

	edge    clockcheck.Edge
	learned bool
	comb    comb
	used    timescale.Local
	n       int
}

// comb follows the edges of one kind.
type comb struct {
	at  timescale.Local
	run int
}

// New is a pulse whose second is at that edge; unknown = learned, or not to be used.
func New(edge clockcheck.Edge) Pulse { return Pulse{edge: edge} }

// Recall names the edge that an earlier run learned, "" = none.
func (p *Pulse) Recall(name string) {
	if p.edge != clockcheck.EdgeUnknown {
		return
	}
	for _, e := range []clockcheck.Edge{clockcheck.EdgeAssert, clockcheck.EdgeClear} {
		if e.String() == name {
			p.edge, p.learned = e, true
		}
	}
}

// Edge is the learned edge by name; "" = none was learned.
func (p *Pulse) Edge() string {
	if !p.learned {
		return ""
	}
	return p.edge.String()
}

// Gone says that there is no pulse to be had, and why.
func (p *Pulse) Gone(why string) { *p = Pulse{Why: why, edge: p.edge, learned: p.learned} }

// Fresh tells whether an edge was passed on lately.
func (p *Pulse) Fresh(now timescale.Local) bool {
	return p.used != 0 && now.Sub(p.used) < 2*every*time.Second && now.Sub(p.Heard) < fresh
}

// Take admits an edge; fix tells whether the receiver is believed now. One of ten edges
// is passed on: they share more than a millisecond of error with one another.
func (p *Pulse) Take(e *clockcheck.PPS, fix bool) (r bank.Reading, ok bool) {
	p.Heard = max(p.Heard, e.At)
	if p.edge == clockcheck.EdgeUnknown {
		p.Waits = Which
		return r, false
	}
	if e.Edge != p.edge {
		return r, false
	}
	switch regular := p.comb.take(e.At); {
	case !regular || p.comb.run < combRun:
		p.Waits = Comb
		return r, false
	case !fix:
		p.Waits = Fix
		return r, false
	}
	p.Waits = Nothing
	if p.n++; p.n%every != 1 {
		return r, false
	}
	p.used = e.At
	s := math.Max(e.Sigma.Seconds(), jitter/math.Sqrt(every))
	return bank.Reading{Source: bank.Pulse, At: e.At, Z: -int64(e.At) % timescale.Second, Var: s*s + shared*shared, Modulo: 1}, true
}

// take reports whether an edge continues the comb; one that does not begins another after
// a hole.
func (c *comb) take(at timescale.Local) bool {
	s := at.Sub(c.at).Seconds()
	n := math.Round(s)
	if c.run > 0 && n >= 1 && n <= combGap && math.Abs(s-n) < combLeast+combRate*n {
		c.at = at
		c.run++
		return true
	}
	if c.run == 0 || s > 3 {
		*c = comb{at: at, run: 1}
	}
	return false
}
