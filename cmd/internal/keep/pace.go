package keep

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// Memory cards wear, so what was learned is saved rarely; but an evening may be short,
// and end with the battery's.
const (
	// After the start, and after the first: from then on the generation before the newest is of
	// this run too, so that a damaged file costs minutes and not all that was known.
	saveFirst = 5 * time.Minute
	// A week is to have at most 200 writes: this makes 144 and leaves 56 for what is urgent.
	saveEvery = 70 * time.Minute
	// generations that are kept: the newest and the one before.
	generations = 2
	// So often at most, in one run, something is saved at once, lest another program
	// that sets the hardware clock again and again wear the card.
	saveUrgent = 50
)

// Pace says when to save. It is a pure value; its zero is that of a program that starts.
// The service and the simulated world save by it.
type Pace struct {
	begun  bool
	next   timescale.Local
	saved  int // how often
	urgent int // how often it was urgent
}

// Due tells whether it is time to save; it is asked from the start on. urgent says that
// what was kept would mislead the next start.
func (p *Pace) Due(now timescale.Local, urgent bool) bool {
	if !p.begun {
		p.begun, p.next = true, now.Add(saveFirst)
	}
	if urgent && p.urgent < saveUrgent {
		p.urgent++
		return true
	}
	return now >= p.next
}

// Saved says that it was saved.
func (p *Pace) Saved(now timescale.Local) {
	if p.saved++; p.saved < generations {
		p.begun, p.next = true, now.Add(saveFirst)
	} else {
		p.begun, p.next = true, now.Add(saveEvery)
	}
}

// Failed says that it could not be saved: it is due again as soon as after a start.
func (p *Pace) Failed(now timescale.Local) { p.begun, p.next = true, now.Add(saveFirst) }
