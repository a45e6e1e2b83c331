package hostclock

import (
	"sync/atomic"
	"time"

	"noonmark/clockcheck/timescale"
)

// Noted holds the pairs that whoever samples the clocks about once a second hands
// in, for conversions elsewhere: the last and the one before. The zero Noted holds
// none.
type Noted struct{ last atomic.Pointer[[2]Pair] }

// Note hands in a pair, by one goroutine.
func (n *Noted) Note(p Pair) {
	pairs := [2]Pair{p, p}
	if old := n.last.Load(); old != nil {
		pairs[0] = old[1]
	}
	n.last.Store(&pairs)
}

// closeEnough is a bracket that a conversion cannot better: stamps of packets come no
// truer than some microseconds.
const closeEnough = 2 * time.Microsecond

// Arrivals converts stamps of the system clock that were taken a moment ago. It
// belongs to one goroutine.
type Arrivals struct {
	noted *Noted
	after Pair
}

// Arrivals returns a converter that starts its brackets at the pairs noted.
func (n *Noted) Arrivals() *Arrivals { return &Arrivals{noted: n} }

// Now reads the local timescale.
func (a *Arrivals) Now() timescale.Local { return Now() }

// Bracket samples the clocks, for stamps taken before it.
func (a *Arrivals) Bracket() timescale.Local {
	a.after = sample(read, closeEnough)
	return a.after.Local
}

// ToLocal converts a stamp taken before the last Bracket and after the pairs noted,
// or says false (see the function ToLocal).
func (a *Arrivals) ToLocal(stamp timescale.UTC) (timescale.Local, bool) {
	before := a.noted.last.Load()
	if before == nil {
		return 0, false
	}
	// A pair may have been noted while the stamp waited: then it lies before it.
	for _, p := range [2]Pair{before[1], before[0]} {
		if l, _, err := ToLocal(stamp, p, a.after); err == nil {
			return l, true
		}
	}
	return 0, false
}
