package keep

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// Memory cards wear, so what was learned is saved rarely; but an evening may be short,
// and end with the battery's.
const (
	// After the start, and then at twice the age, until it is saved every saveEvery: so a power cut
	// takes no more than the younger half of what was learned. From the second on the generation
	// before the newest is of this run too, so that a damaged file costs minutes and not all that
	// was known.
	saveFirst = 5 * time.Minute
	// A week is to have at most 200 writes: this makes 144, with four in the first 70 minutes, and leaves
	// 52 for what is urgent.
	saveEvery = 70 * time.Minute
	// So often at most, in one run, something is saved at once, lest another program
	// that sets the hardware clock again and again wear the card.
	saveUrgent = 50
)

// Pace says when to save. It is a pure value; its zero is that of a program that starts.
// The service and the simulated world save by it.
type Pace struct {
	begun       bool
	begin, next timescale.Local
	urgent      int // how often it was urgent
}

// Due tells whether it is time to save; it is asked from the start on. urgent says that
// what was kept would mislead the next start.
func (p *Pace) Due(now timescale.Local, urgent bool) bool {
	p.start(now)
	if urgent && p.urgent < saveUrgent {
		p.urgent++
		return true
	}
	return now >= p.next
}

// Saved says that it was saved. What was saved out of turn, seconds after a start, knows little of
// what the turn will: that comes all the same.
func (p *Pace) Saved(now timescale.Local) {
	p.start(now)
	if age := now.Sub(p.begin); now >= p.next || age >= saveEvery {
		p.next = now.Add(min(age, saveEvery))
	}
}

// Failed says that it could not be saved: it is due again as soon as after a start.
func (p *Pace) Failed(now timescale.Local) {
	p.start(now)
	p.next = now.Add(saveFirst)
}

func (p *Pace) start(now timescale.Local) {
	if !p.begun {
		p.begun, p.begin, p.next = true, now, now.Add(saveFirst)
	}
}
