package clockcheck

import (
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

// MarkName is the name under which a mark stands among the references.
func MarkName(borrowed bool) string {
	if borrowed {
		return "borrowed clock"
	}
	return "mark by ear"
}

// Edge is one of the two edges of a pulse, as the kernel names them.
type Edge int

const (
	EdgeUnknown Edge = iota
	EdgeAssert
	EdgeClear
)

func (e Edge) String() string {
	return [...]string{"unknown", "assert", "clear"}[e]
}

// PPS is one edge of the receiver's pulse.
type PPS struct {
	At    timescale.Local
	Edge  Edge          // EdgeAssert or EdgeClear
	Sigma time.Duration // standard deviation of At: the stamp's and its conversion's
}

// Temperature is one reading of a thermometer in or beside the computer.
type Temperature struct {
	At     timescale.Local
	C      float64 // °C
	Sensor string  // which one: what was learned by another does not count
	OfRTC  bool    // the hardware clock's chip has it
}

// Steered is what this program itself does to the system clock. The judge cannot
// tell it from another program's doing by looking at the clock.
type Steered struct {
	On      bool
	FreqPPM float64 // the kernel's frequency word: the system clock gains so much on the local timescale
	Pending float64 // s that a correction which ends by itself has still to add to the clock
}
