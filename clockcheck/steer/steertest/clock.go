// Package steertest simulates the system clock of a Linux kernel: its frequency word,
// its correction that ends by itself, steps, status bits and leap seconds. In: instants
// of the local timescale and what is done to the clock. Out: what it shows and what the
// kernel says of it. It has no clock of its own and touches no real one.
//
// It follows Linux 6.1 kernel/time/ntp.c (second_overflow, process_adjtimex_modes,
// ntp_clear) and timekeeping.c. What it leaves out: the kernel's own phase loop moves
// nothing, and a tick's length counts as one more rate.
package steertest

import (
	"errors"
	"math"
	"time"

	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
)

// The kernel's constants.
const (
	perSecond = 500 * time.Microsecond // MAX_TICKADJ; also what maxerror grows a second
	limit     = 16 * time.Second       // NTP_PHASE_LIMIT
)

// ErrDenied is what a program without the right to set the clock gets.
var ErrDenied = errors.New("operation not permitted")

// Clock is the system clock. Instants given to it must not go back.
type Clock struct {
	Denied  bool // the program lacks CAP_SYS_TIME
	Stalled bool // the timer's interrupt does not come: the clock goes on, its seconds are worked off later
	Steps   int  // how often anybody stepped it
	at      timescale.Local
	sec     int64   // whole seconds of the clock at at
	frac    float64 // … and ns
	freq    float64 // ppm
	tick    float64 // ppm
	adjust  time.Duration
	running time.Duration // of adjust, in the present second
	loop    time.Duration
	bits    steer.Bits
	maxErr  time.Duration
	estErr  time.Duration
	tai     int
	behind  int  // seconds not worked off
	leaped  bool // STA_INS or STA_DEL is used up
}

// New returns the clock of a machine just booted, that shows system at the instant at.
func New(at timescale.Local, system timescale.UTC) *Clock {
	c := &Clock{at: at}
	c.put(system)
	c.clear()
	return c
}

func (c *Clock) put(system timescale.UTC) {
	if c.sec = int64(system) / timescale.Second; int64(system) < c.sec*timescale.Second {
		c.sec--
	}
	c.frac = float64(int64(system) - c.sec*timescale.Second)
}

// clear is ntp_clear: every setting of the clock comes here.
func (c *Clock) clear() {
	c.adjust, c.running, c.loop = 0, 0, 0
	c.bits |= steer.BitUnsync
	c.maxErr, c.estErr = limit, limit
}

// pass lets local time pass until now.
func (c *Clock) pass(now timescale.Local) {
	for ; c.behind > 0 && !c.Stalled; c.behind-- {
		c.overflow()
	}
	for left := float64(now.Sub(c.at)); left > 0; {
		rate := 1 + (c.freq+c.tick)*1e-6 + c.running.Seconds()
		need := (1e9 - c.frac) / rate
		if need > left {
			c.frac += left * rate
			break
		}
		left -= need
		c.sec, c.frac = c.sec+1, 0
		if c.behind++; !c.Stalled {
			c.behind--
			c.overflow()
		}
	}
	c.at = max(c.at, now)
}

// overflow is second_overflow.
func (c *Clock) overflow() {
	c.leap()
	if c.maxErr += perSecond; c.maxErr > limit {
		c.maxErr = limit
		c.bits |= steer.BitUnsync
	}
	c.running = min(max(c.adjust, -perSecond), perSecond)
	c.adjust -= c.running
}

// leap puts a second in, or leaves one out, at the end of a UTC day.
func (c *Clock) leap() {
	if c.bits&(steer.BitInsert|steer.BitDelete) == 0 {
		c.leaped = false
		return
	}
	switch into := c.sec % 86400; {
	case c.leaped:
	case c.bits&steer.BitInsert != 0 && into == 0:
		c.sec--
		c.tai++
		c.leaped = true
	case c.bits&steer.BitDelete != 0 && into == 86399:
		c.sec++
		c.tai--
		c.leaped = true
	}
}

// System is what the clock shows.
func (c *Clock) System(now timescale.Local) timescale.UTC {
	c.pass(now)
	return timescale.UTC(c.sec*timescale.Second + int64(math.Floor(c.frac)))
}

// Kernel is what adjtimex reads back.
func (c *Clock) Kernel(now timescale.Local) steer.Kernel {
	c.pass(now)
	return steer.Kernel{FreqPPM: c.freq, TickPPM: c.tick, SlewLeft: c.adjust, Loop: c.loop, Bits: c.bits,
		MaxError: c.maxErr, EstError: c.estErr, TAI: c.tai}
}

// Apply does what a says, as package steer's own file for Linux would.
func (c *Clock) Apply(now timescale.Local, a steer.Actions) error {
	c.pass(now)
	if !a.Any() {
		return nil
	}
	if c.Denied {
		return ErrDenied
	}
	if a.ResetLoop {
		c.loop, c.tick = 0, 0
		c.bits = steer.BitUnsync // the loop switched off: so the kernel does
	}
	if a.Step != 0 {
		c.Step(now, a.Step)
	}
	if a.SetFreq {
		c.freq = scaled(a.FreqPPM)
	}
	if a.SetSlew {
		c.adjust = a.Slew.Truncate(time.Microsecond)
	}
	if s := a.Status; a.SetStatus {
		c.bits = s.Bits()
		c.maxErr, c.estErr = s.MaxError.Truncate(time.Microsecond), s.EstError.Truncate(time.Microsecond)
		if s.TAI > 0 {
			c.tai = s.TAI
		}
	}
	return nil
}

// scaled is a frequency as the word holds it: 2^-16 ppm, at most 500 ppm.
func scaled(ppm float64) float64 {
	return math.Round(math.Min(math.Max(ppm, -500), 500)*65536) / 65536
}

// Step moves the clock, by whomever (clock_settime, ADJ_SETOFFSET).
func (c *Clock) Step(now timescale.Local, by time.Duration) {
	frac := c.frac - math.Floor(c.frac)
	c.put(c.System(now).Add(by))
	c.frac += frac
	c.clear()
	c.Steps++
}

// Tamper is another program's adjtimex: a frequency, a turn, bits of its own. Nil
// leaves a thing as it is.
type Tamper struct {
	FreqPPM  *float64
	TickPPM  *float64
	Slew     *time.Duration
	Loop     *time.Duration
	Bits     *steer.Bits
	MaxError *time.Duration
}

// Tamper does it.
func (c *Clock) Tamper(now timescale.Local, t Tamper) {
	c.pass(now)
	if t.FreqPPM != nil {
		c.freq = scaled(*t.FreqPPM)
	}
	if t.TickPPM != nil {
		c.tick = *t.TickPPM
	}
	if t.Slew != nil {
		c.adjust = *t.Slew
	}
	if t.Loop != nil {
		c.loop = *t.Loop
	}
	if t.Bits != nil {
		c.bits = *t.Bits
	}
	if t.MaxError != nil {
		c.maxErr = *t.MaxError
	}
}
