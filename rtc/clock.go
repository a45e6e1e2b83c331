package rtc

import (
	"context"
	"errors"
	"fmt"
	"time"

	"noonmark/clockcheck/timescale"
)

// How an edge is found, in passes. The first pass covers a whole second with a
// few reads and catches the edge between two of them; each further pass, a
// second later, lays as many reads over what the last one left. So a bracket of
// a millisecond costs about 30 wake-ups in 5 s instead of a second of dense
// polling, and a clock whose phase is known costs a handful. Wherever a window
// was wrong (the clock was set, the machine slept), the search begins again:
// no Reading is ever made from a prediction.
const (
	readsPerPass = 8
	minStep      = 500 * time.Microsecond
	wholeSearch  = 1100 * time.Millisecond
	maxPasses    = 10
	// Both oscillators together: ±100 ppm each covers plain crystals in the
	// cold (−69 ppm at −20 °C by the usual parabola).
	maxDrift = 200e-6
	// The interrupt's own delay, for laying the next window; if it was longer,
	// that window misses and the proven bracket is used instead.
	interruptDelay = 5 * time.Millisecond
	// A timer wakes late, never early: windows begin sooner by this, or by what
	// the last waits were late, up to maxLead.
	minLead = time.Millisecond
	maxLead = 100 * time.Millisecond
)

// Clock finds the edges of one hardware clock and remembers its phase.
type Clock struct {
	open    func() (Device, error)
	now     func() timescale.Local
	sleep   func(context.Context, time.Duration) error
	last    bracket
	known   bool
	earlyBy time.Duration
}

// bracket is a proven interval of one edge; hint, if later than lo, is the
// likely begin of a narrower one.
type bracket struct {
	lo, hi, hint timescale.Local
	value        timescale.UTC
}

type window struct{ lo, hi timescale.Local }

// errMissed: no edge within the window, so the prediction was wrong.
var errMissed = errors.New("no change of second seen")

// New returns a Clock on the device that open opens. now reads the local
// timescale; sleep waits, and returns early with an error only if its context ends.
func New(open func() (Device, error), now func() timescale.Local, sleep func(context.Context, time.Duration) error) *Clock {
	return &Clock{open: open, now: now, sleep: sleep, earlyBy: minLead}
}

// ReadEdge returns a Reading with Half at most want, if the clock can be read
// that finely, else the finest of several passes. The first whole search takes
// up to 1.1 s and gives about 70 ms; every pass after it takes a second. If ctx
// ends early the finest Reading so far is returned, or the context's error. On
// ErrInvalid the Reading holds the flags alone.
func (c *Clock) ReadEdge(ctx context.Context, want time.Duration) (Reading, error) {
	var best Reading
	found, stale := false, 0
	for range maxPasses {
		r, err := c.pass(ctx)
		switch {
		case errors.Is(err, errMissed):
			continue
		case err != nil && found:
			return best, nil
		case err != nil:
			return r, err
		case found && r.Half > best.Half*3/4:
			if stale++; stale == 3 {
				return best, nil
			}
		default:
			stale = 0
		}
		if !found || r.Half <= best.Half {
			best, found = r, true
		}
		if best.Half <= want {
			break
		}
	}
	if !found {
		return Reading{}, fmt.Errorf("rtc: read edge: %w in %d tries: the clock stands still or is being set all the time", errMissed, maxPasses)
	}
	return best, nil
}

// pass looks through one window, with the device open for no longer than that.
func (c *Clock) pass(ctx context.Context) (Reading, error) {
	w, predicted := c.window()
	if d := w.lo.Sub(c.now()); predicted && d > 0 {
		if err := c.sleep(ctx, d); err != nil {
			return Reading{}, fmt.Errorf("rtc: read edge: %w", err)
		}
		late := c.now().Sub(w.lo)
		c.earlyBy = min(max(late*3/2, c.earlyBy/2, minLead), maxLead)
	}
	dev, err := c.open()
	if err != nil {
		return Reading{}, err
	}
	b, err := c.look(ctx, dev, &w, predicted)
	if err != nil {
		if errors.Is(err, errMissed) {
			c.forget()
		}
		r := Reading{}
		if errors.Is(err, ErrInvalid) {
			r.Flags, r.FlagsKnown = DataInvalid, true
		}
		return r, errors.Join(err, dev.Close())
	}
	c.last, c.known = b, true
	half := b.hi.Sub(b.lo) / 2
	r := Reading{Edge: b.lo.Add(half), Half: b.hi.Sub(b.lo) - half, Value: b.value}
	// Unreadable flags take nothing from the edge.
	r.Flags, r.FlagsKnown, err = dev.ReadFlags()
	r.FlagsKnown = r.FlagsKnown && err == nil
	return r, dev.Close()
}

// look reads again and again until the second changes or the window ends.
func (c *Clock) look(ctx context.Context, dev Device, w *window, predicted bool) (bracket, error) {
	before := c.now()
	if !predicted {
		*w = window{before, before.Add(wholeSearch)}
	}
	step := max(w.hi.Sub(w.lo)/readsPerPass, minStep)
	old, err := readValue(dev)
	if err != nil {
		return bracket{}, err
	}
	for {
		if err := ctx.Err(); err != nil {
			return bracket{}, fmt.Errorf("rtc: read edge: %w", err)
		}
		updated, err := dev.Wait(step)
		if err != nil {
			return bracket{}, err
		}
		woken := c.now()
		value, err := readValue(dev)
		if err != nil {
			return bracket{}, err
		}
		after := c.now()
		switch value.Sub(old) {
		case 0:
			if woken > w.hi {
				return bracket{}, errMissed
			}
			before = woken
		case time.Second:
			b := bracket{lo: before, hi: after, hint: before, value: value}
			if updated { // evidence for where to look next, no proof
				b.hint = max(before, woken.Add(-interruptDelay))
			}
			return b, nil
		default: // set by another program, or we were held up
			return bracket{}, errMissed
		}
	}
}

// window predicts the next edge from the last. The second result is false where
// nothing is known, or too little to save anything.
func (c *Clock) window() (window, bool) {
	now := c.now()
	b := c.last
	if !c.known {
		return window{}, false
	}
	n := now.Add(c.earlyBy).Sub(b.hint)/time.Second + 1
	slack := time.Duration(float64(n)*float64(time.Second)*maxDrift) + minStep
	w := window{b.hint.Add(n*time.Second - slack - c.earlyBy), b.hi.Add(n*time.Second + slack)}
	if w.lo < now {
		w.lo, w.hi = w.lo.Add(time.Second), w.hi.Add(time.Second)
	}
	return w, w.hi.Sub(w.lo) < wholeSearch/2
}

// forget drops the phase, or at first the interrupt's hint alone.
func (c *Clock) forget() {
	if c.known && c.last.hint > c.last.lo {
		c.last.hint = c.last.lo
		return
	}
	c.known = false
}

func readValue(dev Device) (timescale.UTC, error) {
	f, err := dev.ReadTime()
	if err != nil {
		return 0, err
	}
	u, err := f.UTC()
	if err != nil {
		return 0, fmt.Errorf("rtc: read time: %w", err)
	}
	return u, nil
}
