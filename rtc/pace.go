package rtc

import "time"

// Pace says how finely the hardware clock is read, and how long to wait before the next
// look. It is a pure value, and its zero is that of a program that starts: a station must
// know the time at boot, so the first look is rough and at once; ten fine ones follow, a
// minute apart; then each ten minutes is enough, for the chip's bus is slow and its rate
// steady. Read by the service and by the simulated world alike.
type Pace struct{ looks int }

const (
	roughly    = 100 * time.Millisecond // half-width that ends the first look
	finely     = 2 * time.Millisecond   // … and each later one
	fineLooks  = 10
	soon       = time.Second
	often      = time.Minute
	rarely     = 10 * time.Minute
	afterwards = 2 * time.Second // after a setting: the chip has begun its second by then
)

// Want is the half-width of an edge that is worth waiting for in the next look.
func (p *Pace) Want() time.Duration {
	if p.looks == 0 {
		return roughly
	}
	return finely
}

// Looked says that the clock was looked at, with whatever result, and returns how long to
// wait for the next look.
func (p *Pace) Looked() time.Duration {
	p.looks++
	switch {
	case p.looks == 1:
		return soon
	case p.looks <= fineLooks:
		return often
	}
	return rarely
}

// Set says that the clock was set, and returns how long to wait before looking where its
// edge has come to lie.
func (p *Pace) Set() time.Duration {
	p.looks = 1
	return afterwards
}

// Woke says that the machine slept, which took the tie to true time away, and returns how
// long to wait: not at all.
func (p *Pace) Woke() time.Duration {
	p.looks = 1
	return 0
}
