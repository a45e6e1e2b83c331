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
	// FixFresh: its receiver's last valid epoch is no older; as the longest hole in a run of
	// valid epochs (package receiver; assumption).
	FixFresh = 5 * time.Second
	// Settle is how long a fix is valid before the pulse counts; receivers align their pulse
	// after it (assumption: within ten seconds).
	Settle = 10 * time.Second
	fresh  = 5 * time.Second // a pulse is said to come, five edges later (assumption; words only)
	// combRun edges continue one another: five at random places in a second do so with
	// (2·combLeast)⁴ = 2e-11.
	combRun = 5
	// combRate, s/s: crystals of small computers are ± 50 ppm, old ones ± 100 in the cold
	// (common practice, no source), and half as much again.
	combRate = 150e-6
	// combLeast, s: the polling of a USB adapter, a frame of 1 ms (USB 2.0, section 8.4.3).
	combLeast = 0.001
	// combGap, s: after a longer hole the comb begins again: combRate · 300 s = 45 ms, a tenth of
	// what would be another edge.
	combGap = 300
	// shared is σ of what all edges share, s: interrupt latency, cable at 5 ns/m (assumption). Edges
	// come late, never early: they share a mean as large as their scatter, besides.
	shared = 10e-6
	mean   = 64 // edges, a minute, over which the scatter is measured (assumption)
	// jitter, s, σ: a USB adapter's frame of 1 ms, 1/√12 = 0.29 ms.
	jitter = 300e-6
	// oddMost spurious edges, less oddPaid for each good one, are too often: where 1 in 5
	// is spurious the count stands still, oddPaid = 0.2/0.8; above, it grows. A burst of eight
	// is let pass (assumption).
	oddMost, oddPaid = 8.0, 0.25
	// sure edges in a row tell which kind is the second: half a minute, in which the guard
	// falls (assumption).
	sure = 30
	// every: of so many edges one is passed on, for what they share does not average down; a
	// look of the receiver is as long (package receiver).
	every = 10
	// restart, s: after so long without a fitting edge any edge begins a comb: two may be
	// missing (assumption).
	restart = 3
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
	combs   [2]comb            // by edge − 1
	fits    [2]int             // edges in a row of each kind that are a second by all that is known; < 0: that are none
	good    [2]timescale.Local // the last edge of each kind beside a fix
	shift   float64            // s: by so much the edges have jumped since the pulse came, modulo 1 s
	used    timescale.Local
	n       int
	scatter float64 // s²: mean square of how far an edge is from a second after the one before
	odd     float64 // spurious edges lately, less a quarter for each good one
	Often   bool    // … too many: what is on this line is no pulse
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
// is passed on: they share more than a millisecond of error with one another. near is how
// far from a whole second the edge is by what is known, and guard how well that is known,
// s; with them the edge that is the second is learned.
func (p *Pulse) Take(e *clockcheck.PPS, fix bool, near, guard float64) (r bank.Reading, ok bool) {
	p.Heard = max(p.Heard, e.At)
	if e.Edge != clockcheck.EdgeAssert && e.Edge != clockcheck.EdgeClear {
		return r, false
	}
	c := &p.combs[e.Edge-1]
	off, regular := c.take(e.At)
	if regular {
		p.scatter += (off*off - p.scatter) / mean
	}
	p.count(regular)
	switch {
	case !regular || c.run < combRun || p.Often:
		p.Waits = Comb
		return r, false
	case !fix:
		p.Waits = Fix
		return r, false
	}
	if p.jump(e); p.edge == clockcheck.EdgeUnknown {
		p.Waits = Which
		p.learn(e.Edge, math.Abs(near) <= guard)
		return r, false
	}
	if e.Edge != p.edge {
		return r, false
	}
	p.Waits = Nothing
	if p.n++; p.n%every != 1 {
		return r, false
	}
	p.used = e.At
	s := math.Max(e.Sigma.Seconds(), jitter/math.Sqrt(every))
	return bank.Reading{Source: bank.Pulse, At: e.At, Z: -int64(e.At) % timescale.Second, Var: s * s, Common: math.Hypot(shared, math.Sqrt(p.scatter)), Modulo: 1,
		From: bank.SetOf(bank.Receiver)}, true
}

// count follows how many edges are spurious.
func (p *Pulse) count(regular bool) {
	if regular {
		p.odd = math.Max(p.odd-oddPaid, 0)
	} else {
		p.odd = math.Min(p.odd+1, 2*oddMost)
	}
	p.Often = p.odd > oddMost || p.Often && p.odd > 0
}

// jump follows by how much the edges have jumped beside a fix, whether or not there was a hole between.
// What makes sentences early or late moves no edge: the receiver's time jumped, or what is on this line is no pulse.
func (p *Pulse) jump(e *clockcheck.PPS) {
	was := &p.good[e.Edge-1]
	if s := e.At.Sub(*was).Seconds(); *was != 0 && s <= combGap {
		if d := s - math.Round(s); math.Abs(d) > combLeast+combRate*s {
			p.shift, p.good = math.Remainder(p.shift+d, 1), [2]timescale.Local{}
		}
	}
	*was = e.At
}

// learn counts whether an edge can be the second's. Where one kind always can and the
// other never, the former is. After a jump no edge is the second's by what was known before.
func (p *Pulse) learn(e clockcheck.Edge, can bool) {
	if math.Abs(p.shift) > combLeast+combRate*combGap {
		p.fits = [2]int{}
		return
	}
	f := &p.fits[e-1]
	switch {
	case can && *f >= 0:
		*f++
	case !can && *f <= 0:
		*f--
	default:
		*f = 0
	}
	for i := range p.fits {
		if p.fits[i] >= sure && p.fits[1-i] <= -sure {
			p.edge, p.learned = clockcheck.EdgeAssert+clockcheck.Edge(i), true
		}
	}
}

// take reports whether an edge continues the comb, and how far it is from the second where
// it does, s; one that does not begins another after a hole.
func (c *comb) take(at timescale.Local) (off float64, ok bool) {
	s := at.Sub(c.at).Seconds()
	n := math.Round(s)
	if c.run > 0 && n >= 1 && n <= combGap && math.Abs(s-n) < combLeast+combRate*n {
		c.at = at
		c.run++
		return s - n, true
	}
	if c.run == 0 || s > restart {
		*c = comb{at: at, run: 1}
	}
	return 0, false
}
