package rtc

import (
	"context"
	"errors"
	"fmt"
	"time"

	"noonmark/clockcheck/timescale"
)

// A chip takes a new time at an instant, and its next second begins some time later
// that depends on the chip. So the instant of the write matters, to the millisecond,
// and is given back; when it is missed nothing is written.
const (
	setEarly = 20 * time.Millisecond // the device is opened so long before
	setLate  = 30 * time.Millisecond // later than this nothing is written
)

// ErrLate: the instant for setting the clock had passed.
var ErrLate = errors.New("the right instant was missed, for the computer was busy")

// Set writes value, a whole second taken as UTC, into the clock at the instant at,
// and returns two instants between which the clock took it. It needs the right to set
// the system's clocks (CAP_SYS_TIME). If it fails nothing was written.
func (c *Clock) Set(ctx context.Context, at timescale.Local, value timescale.UTC) (before, after timescale.Local, err error) {
	c.known = false // the phase is no longer what it was
	if err := c.until(ctx, at.Add(-setEarly)); err != nil {
		return 0, c.now(), err
	}
	dev, err := c.open()
	if err != nil {
		return 0, c.now(), err
	}
	err = c.until(ctx, at)
	if before = c.now(); err == nil && before.Sub(at) > setLate {
		err = fmt.Errorf("rtc: set: %w", ErrLate)
	}
	if err == nil {
		err = dev.SetTime(FieldsOf(value))
	}
	after = c.now()
	return before, after, errors.Join(err, dev.Close())
}

func (c *Clock) until(ctx context.Context, at timescale.Local) error {
	d := at.Sub(c.now())
	if d <= 0 {
		return nil
	}
	if err := c.sleep(ctx, d); err != nil {
		return fmt.Errorf("rtc: set: %w", err)
	}
	return nil
}
