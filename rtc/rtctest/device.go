package rtctest

import (
	"fmt"
	"syscall"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
)

// World is the virtual time a simulated device lives in.
type World interface {
	True() timescale.UTC // the present true instant
	Pass(time.Duration)  // lets that much true time pass
}

// device is a Clock behind the seam of package rtc.
type device struct {
	c      *Clock
	w      World
	closed bool
}

// NewDevice opens c in the world w. Reads take Model.ReadTime, and latch the
// time at their middle.
func NewDevice(c *Clock, w World) rtc.Device { return &device{c: c, w: w} }

func (d *device) ReadTime() (rtc.Fields, error) {
	d.w.Pass(d.c.m.ReadTime / 2)
	f, err := d.c.At(d.w.True())
	d.w.Pass(d.c.m.ReadTime - d.c.m.ReadTime/2)
	switch {
	case d.closed:
		return rtc.Fields{}, fmt.Errorf("rtctest: read: %w", syscall.EBADF)
	case err == syscall.EINVAL:
		return rtc.Fields{}, fmt.Errorf("rtctest: read: %w: %w", rtc.ErrInvalid, err)
	case err != nil:
		return rtc.Fields{}, fmt.Errorf("rtctest: read: %w", err)
	}
	return f, nil
}

// SetTime takes as long as a read, and the chip takes the time at its end.
func (d *device) SetTime(f rtc.Fields) error {
	d.w.Pass(d.c.m.ReadTime)
	u, err := f.UTC()
	switch {
	case d.closed:
		return fmt.Errorf("rtctest: set: %w", syscall.EBADF)
	case err != nil:
		return fmt.Errorf("rtctest: set: %w: %w", syscall.EINVAL, err)
	}
	d.c.Set(d.w.True(), u)
	return nil
}

func (d *device) ReadFlags() (rtc.Flags, bool, error) {
	f, known := d.c.Flags(d.w.True())
	return f, known, nil
}

func (d *device) Wait(t time.Duration) (bool, error) {
	if d.c.m.HasInterrupt && t >= 20*time.Millisecond {
		now := d.w.True()
		if at, _, ok := d.c.NextEdge(now); ok && at.Sub(now)+d.c.m.InterruptDelay <= t {
			d.w.Pass(at.Sub(now) + d.c.m.InterruptDelay)
			return true, nil
		}
	}
	d.w.Pass(t)
	return false, nil
}

func (d *device) Close() error {
	if d.closed {
		return fmt.Errorf("rtctest: close: %w", syscall.EBADF)
	}
	d.closed = true
	return nil
}
