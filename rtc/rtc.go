// Package rtc reads a battery-backed hardware clock on the edge of its second, and
// sets it at a given instant when it is told to.
//
// In: the calendar fields and voltage flags a Device gives, and instants of the
// local timescale. Out: Readings, each an interval that held the edge and the
// whole second that began there. A hardware clock shows whole seconds only, so
// nothing but the moment of change carries its phase.
//
// A Clock is owned by one goroutine. Nothing is set but by Clock.Set.
package rtc

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"syscall"
	"time"

	"noonmark/clockcheck/timescale"
)

// Reading is one observed change of the second.
type Reading struct {
	// Edge is the middle of the interval that held the change, and Half its
	// half-width: the change came within Edge ± Half, for the clock was seen to
	// show the old second before and the new one after. No other error is in
	// it: what the chip shows may still be wrong by any amount.
	Edge timescale.Local
	Half time.Duration
	// Value is the second that began at Edge, as if the clock kept UTC.
	Value timescale.UTC
	// Flags as read just after the edge; FlagsKnown is false where the driver
	// cannot tell (many cannot: then a worn battery shows only by its results).
	Flags      Flags
	FlagsKnown bool
}

// Flags are what a chip says about its own supply: the bits of RTC_VL_READ
// (source: linux/rtc.h).
type Flags uint8

// The flags, with the kernel's bit values.
const (
	DataInvalid  Flags = 1 << iota // the supply failed: the time is lost
	BackupLow                      // battery low
	BackupEmpty                    // battery empty or missing
	AccuracyLow                    // the supply is too low for the rated accuracy
	BackupSwitch                   // has run on its battery since last cleared
)

// String says the flags in words, "" for none.
func (f Flags) String() string {
	words := []string{"time lost", "battery low", "battery empty or missing", "accuracy reduced", "has run on battery"}
	var said []string
	for i, w := range words {
		if f&(1<<i) != 0 {
			said = append(said, w)
		}
	}
	return strings.Join(said, ", ")
}

// Device is an opened hardware clock: the seam between this package and the
// kernel, or a simulation. Opening shuts every other program out of the clock,
// so it is held for one short pass at a time.
type Device interface {
	// ReadTime returns what the clock shows.
	ReadTime() (Fields, error)
	// SetTime writes a time. It takes effect as the call is made, not later.
	SetTime(Fields) error
	// ReadFlags returns the supply flags; known is false where the driver has none.
	ReadFlags() (f Flags, known bool, err error)
	// Wait returns after d, or as soon as the update interrupt says that a
	// second has begun, if the clock has one and d is worth arming it for.
	Wait(d time.Duration) (updated bool, err error)
	io.Closer
}

// Classes of error, to be tested with errors.Is. Anything else is a fault of
// the bus or chip (usually EIO) and worth another try later.
var (
	ErrAbsent  = errors.New("no such hardware clock")
	ErrDenied  = errors.New("no right to open it")
	ErrBusy    = errors.New("in use by another program")
	ErrInvalid = errors.New("it says that its time is lost (its oscillator stopped, usually for want of a battery)")
)

// classed joins the system's error to its class. Source for EBUSY (one opener
// at a time): rtc(4); for EINVAL from a read (oscillator stopped): the drivers
// under drivers/rtc of Linux 6.1.
func classed(err error, reading bool) error {
	for _, c := range []struct{ is, class error }{
		{fs.ErrNotExist, ErrAbsent}, {syscall.ENODEV, ErrAbsent}, {syscall.ENXIO, ErrAbsent},
		{fs.ErrPermission, ErrDenied}, {syscall.EBUSY, ErrBusy},
	} {
		if errors.Is(err, c.is) {
			return fmt.Errorf("%w: %w", c.class, err)
		}
	}
	if reading && errors.Is(err, syscall.EINVAL) {
		return fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	return err
}
