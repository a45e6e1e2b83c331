package steer

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// SystemClock is this machine's own clock. It is the one thing here that changes it.
type SystemClock struct{ call func(*timex) error }

// ErrNotPermitted: the program lacks the right to set the clock (CAP_SYS_TIME).
var ErrNotPermitted = errors.New("no right to set the clock")

// Open returns this machine's clock, to be steered. It refuses in a test program:
// no test may move the clock of the machine it runs on.
func Open() (*SystemClock, error) {
	if flag.Lookup("test.v") != nil {
		return nil, errors.New("steer: this is a test program: it must not touch the machine's clock")
	}
	return &SystemClock{call: adjtimex}, nil
}

// ReadKernel reads the kernel's state; it needs no right and changes nothing.
func ReadKernel() (Kernel, error) { return (&SystemClock{call: adjtimex}).Read() }

// timex is struct __kernel_timex of linux/timex.h: the same 208 bytes on every
// architecture, with 64 bits for every time. Beyond Tai it is reserved.
type timex struct {
	Modes     uint32
	_         uint32
	Offset    int64
	Freq      int64
	Maxerror  int64
	Esterror  int64
	Status    int32
	_         uint32
	Constant  int64
	Precision int64
	Tolerance int64
	Sec, Usec int64
	Tick      int64
	_         [8]int64 // what the kernel measured of a PPS signal
	Tai       int32
	_         [11]int32
}

func adjtimex(t *timex) error {
	_, _, errno := unix.Syscall(sysClockAdjtime, unix.CLOCK_REALTIME, uintptr(unsafe.Pointer(t)), 0)
	switch errno {
	case 0:
		return nil
	case unix.EPERM:
		return fmt.Errorf("%w: %w", ErrNotPermitted, errno)
	}
	return errno
}

// The length of a tick for USER_HZ = 100, µs (adjtimex(2)).
const nominalTick = 10000

// Read reads the kernel's state; it needs no right and changes nothing.
func (c *SystemClock) Read() (Kernel, error) {
	var t timex
	if err := c.call(&t); err != nil {
		return Kernel{}, fmt.Errorf("steer: read adjtimex: %w", err)
	}
	left := timex{Modes: unix.ADJ_OFFSET_SS_READ}
	if err := c.call(&left); err != nil {
		return Kernel{}, fmt.Errorf("steer: read what is left of adjtime: %w", err)
	}
	unit := time.Microsecond
	if t.Status&unix.STA_NANO != 0 {
		unit = time.Nanosecond
	}
	return Kernel{
		FreqPPM: float64(t.Freq) / 65536, TickPPM: float64(t.Tick-nominalTick) * 1e6 / nominalTick,
		SlewLeft: time.Duration(left.Offset) * time.Microsecond, Loop: time.Duration(t.Offset) * unit,
		Bits:     Bits(t.Status) & (ruled | announcedBits),
		MaxError: time.Duration(t.Maxerror) * time.Microsecond, EstError: time.Duration(t.Esterror) * time.Microsecond,
		TAI: int(t.Tai),
	}, nil
}

// Apply does what a wants. It stops at the first refusal.
func (c *SystemClock) Apply(a Actions) error {
	for _, r := range requests(&a) {
		if err := c.call(&r.timex); err != nil {
			return fmt.Errorf("steer: %s: %w", r.what, err)
		}
	}
	return nil
}

type request struct {
	what string
	timex
}

// requests words a for the kernel. The order counts: a step makes it forget its
// correction and its marks.
func requests(a *Actions) (out []request) {
	if a.ResetLoop {
		// The loop takes an offset only while it is switched on, and keeps the one it has
		// when it is switched off; with the frequency held it does not learn from it.
		out = append(out,
			request{"empty the kernel's loop", timex{Modes: unix.ADJ_STATUS | unix.ADJ_OFFSET | unix.ADJ_TICK,
				Status: unix.STA_PLL | unix.STA_FREQHOLD | unix.STA_UNSYNC, Tick: nominalTick}},
			request{"switch the kernel's loop off", timex{Modes: unix.ADJ_STATUS, Status: unix.STA_UNSYNC}})
	}
	if a.Step != 0 {
		sec := a.Step / time.Second
		if a.Step%time.Second < 0 {
			sec--
		}
		out = append(out, request{"step the clock", timex{Modes: unix.ADJ_SETOFFSET | unix.ADJ_NANO,
			Sec: int64(sec), Usec: int64(a.Step - sec*time.Second)}})
	}
	if a.SetSlew {
		// It must come alone: the kernel takes no other mode with it.
		out = append(out, request{"turn the clock", timex{Modes: unix.ADJ_OFFSET_SINGLESHOT, Offset: a.Slew.Microseconds()}})
	}
	t := timex{}
	if a.SetFreq {
		t.Modes |= unix.ADJ_FREQUENCY
		t.Freq = int64(math.Round(a.FreqPPM * 65536))
	}
	if s := a.Status; a.SetStatus {
		t.Modes |= unix.ADJ_STATUS | unix.ADJ_MAXERROR | unix.ADJ_ESTERROR
		t.Status, t.Maxerror, t.Esterror = int32(s.Bits()), s.MaxError.Microseconds(), s.EstError.Microseconds()
		if s.TAI > 0 {
			t.Modes |= unix.ADJ_TAI
			t.Constant = int64(s.TAI)
		}
	}
	if t.Modes != 0 {
		out = append(out, request{"tell the kernel", t})
	}
	return out
}
