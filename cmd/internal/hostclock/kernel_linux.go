package hostclock

import (
	"fmt"
	"time"

	"golang.org/x/sys/unix"
)

// Status is the kernel's own opinion of the system clock (adjtimex(2)).
type Status struct {
	// FreqPPM is the frequency correction in force, parts per million,
	// positive = the clock is made to run faster.
	FreqPPM float64
	// TickPPM is a further correction by the length of the tick, 0 as a rule.
	TickPPM float64
	// Unsync is true when nobody vouches for the system clock (STA_UNSYNC).
	Unsync bool
	// MaxError and EstError are the errors some program told the kernel.
	// MaxError grows by 500 ppm and stops at 16 s.
	MaxError, EstError time.Duration
	// TAI is TAI − UTC in seconds as far as the kernel was told, else 0.
	TAI int
}

// KernelStatus reads the kernel's opinion; it needs no privilege and changes
// nothing.
func KernelStatus() (Status, error) {
	var t unix.Timex // Modes = 0: read only
	if _, err := unix.Adjtimex(&t); err != nil {
		return Status{}, fmt.Errorf("hostclock: read adjtimex: %w", err)
	}
	return statusOf(&t), nil
}

// statusOf converts units. The fields of Timex are 32 bits wide on 32-bit
// machines, hence the conversions, which are idle on others.
func statusOf(t *unix.Timex) Status {
	const nominalTick = 10000 // µs for USER_HZ = 100 (adjtimex(2))
	return Status{
		FreqPPM:  float64(t.Freq) / 65536, // adjtimex(2): 2^-16 ppm
		TickPPM:  float64(int64(t.Tick)-nominalTick) * 1e6 / nominalTick,
		Unsync:   t.Status&unix.STA_UNSYNC != 0,
		MaxError: time.Duration(t.Maxerror) * time.Microsecond,
		EstError: time.Duration(t.Esterror) * time.Microsecond,
		TAI:      int(t.Tai),
	}
}
