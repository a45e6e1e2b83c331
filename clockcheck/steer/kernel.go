package steer

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// Kernel is what the kernel says of the system clock and of what is being done to
// it, read back at one instant (adjtimex(2)).
type Kernel struct {
	FreqPPM  float64       // frequency word: the clock gains so much on the local timescale
	TickPPM  float64       // the same again, by another length of the tick
	SlewLeft time.Duration // of a correction that ends by itself: what has not begun yet
	Loop     time.Duration // what the kernel's own phase loop has still to remove
	Bits     Bits
	MaxError time.Duration
	EstError time.Duration
	TAI      int // TAI − UTC, s; 0 = never told
}

// Bits are the kernel's status bits, by the values of linux/timex.h.
type Bits int

// The bits that steering knows of. ruled are those that programs set and that bring
// the kernel's own loops into play.
const (
	BitPLL      Bits = 0x0001
	BitPPSFreq  Bits = 0x0002
	BitPPSTime  Bits = 0x0004
	BitFLL      Bits = 0x0008
	BitInsert   Bits = 0x0010
	BitDelete   Bits = 0x0020
	BitUnsync   Bits = 0x0040
	BitFreqHold Bits = 0x0080

	ruled         = BitPLL | BitPPSFreq | BitPPSTime | BitFLL | BitFreqHold
	announcedBits = BitInsert | BitDelete | BitUnsync
)

// Actions is what Decide wants done, in the order of the fields. The zero value
// wants nothing.
type Actions struct {
	// ResetLoop: the kernel's own phase loop is emptied and switched off, and the
	// tick gets its nominal length.
	ResetLoop bool
	// Step is added to the clock at once; 0 = no step.
	Step time.Duration
	// SetFreq: the frequency word becomes FreqPPM.
	SetFreq bool
	FreqPPM float64
	// SetSlew: the correction that ends by itself becomes Slew (whole µs; 0 ends it).
	SetSlew bool
	Slew    time.Duration
	// SetStatus: the kernel is told Status.
	SetStatus bool
	Status    Status
	// SetRTC: the hardware clock is to be written, see RTCOrder.
	SetRTC *RTCOrder
	// Wake is when Decide wants to be asked again at the latest, 0 = at the next tick.
	Wake timescale.Local
	// Events are for the operator, oldest first.
	Events []clockcheck.Event
}

// Any tells whether the kernel is to be changed.
func (a *Actions) Any() bool {
	return a.ResetLoop || a.Step != 0 || a.SetFreq || a.SetSlew || a.SetStatus
}

// Status is what the kernel is told, for every program that asks it.
type Status struct {
	Unsync   bool // nobody vouches for the clock
	Insert   bool // this UTC day ends with 23:59:60
	Delete   bool // this UTC day ends with 23:59:58
	MaxError time.Duration
	EstError time.Duration
	TAI      int // TAI − UTC, s; 0 = leave as it is
}

// Bits is the status word that says it.
func (s Status) Bits() (b Bits) {
	if s.Unsync {
		b |= BitUnsync
	}
	if s.Insert {
		b |= BitInsert
	}
	if s.Delete {
		b |= BitDelete
	}
	return b
}

// RTCOrder: at the instant At the hardware clock is to be written with Value, a
// whole second. Late by some milliseconds is late by as much for good.
type RTCOrder struct {
	At    timescale.Local
	Value timescale.UTC
}

// limits of the kernel (kernel/time/ntp.c of Linux 6.1)
const (
	maxFreqPPM = 500
	chunk      = 500 * time.Microsecond // MAX_TICKADJ: what a self-ending correction moves a second
	maxMaxErr  = 16 * time.Second       // NTP_PHASE_LIMIT: beyond, the kernel says UNSYNC by itself
)
