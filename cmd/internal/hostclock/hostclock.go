// Package hostclock reads this machine's clocks. It never sets, steps or
// slews one.
//
// Out go instants of the local timescale (CLOCK_MONOTONIC_RAW), pairs that tie
// that timescale to the system clock (CLOCK_REALTIME), and the kernel's own
// opinion of the system clock. Every function may be called from any
// goroutine. The arithmetic on pairs (Pair.StepSince, ToLocal) is pure.
package hostclock

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"time"

	"noonmark/clockcheck/timescale"
)

// Pair ties the clocks of this machine together at one instant.
type Pair struct {
	// Local is the instant, on CLOCK_MONOTONIC_RAW.
	Local timescale.Local
	// System is what the system clock (CLOCK_REALTIME) said then: a claim
	// about UTC, not UTC.
	System timescale.UTC
	// Boottime is the time since boot, suspend included (CLOCK_BOOTTIME). It
	// is read a few microseconds later than Local and System.
	Boottime time.Duration
	// Width is the width of the bracket System was read in: System may belong
	// to any instant within Width/2 of Local.
	Width time.Duration
	// SuspendOffset is CLOCK_BOOTTIME − CLOCK_MONOTONIC, the time spent in
	// suspend since boot. When it has grown, Local stopped for a while and a
	// new segment of the local timescale has begun.
	SuspendOffset time.Duration
}

// The reasons for which a stamp or a pair of Pairs is refused.
var (
	// ErrStepped: the system clock was stepped between the pairs, or slewed
	// faster than 1000 ppm, which no reading survives either.
	ErrStepped = errors.New("the system clock was stepped")
	// ErrSuspended: the machine slept between the pairs.
	ErrSuspended = errors.New("the machine was suspended")
	// ErrOutside: the stamp does not lie between the pairs.
	ErrOutside = errors.New("the stamp lies outside its bracket")
)

const (
	// slewPPM is the steepest slew taken for a slew. The kernel's frequency
	// word reaches 500 ppm and adjtime(3) another 500 (kernel/time/ntp.c,
	// MAXFREQ; adjtime's 500 µs a second). A phase-locked loop with a short
	// time constant can be steeper; then a reading is lost, not wrong.
	slewPPM = 1000
	// stepFloor is the smallest change called a step whatever the widths say:
	// stamps in other clocks come no better than some microseconds.
	stepFloor = 20 * time.Microsecond
	// suspendFloor is the least change of SuspendOffset called a suspend. The
	// kernel counts a suspend in whole readings of its own clocks; one shorter than
	// this moves no estimate.
	suspendFloor = 50 * time.Millisecond
	// tries is how many brackets are read at most: whatever interrupts a reading only
	// widens its bracket, and five interruptions in a row are needed to spoil the
	// narrowest. Measured: of 6 million single readings 5 were held up by over 50 ms.
	tries = 5
	// closeSuspend is a bracket of SuspendOffset that needs no second try.
	closeSuspend = time.Millisecond
)

// offset is the system clock minus the local timescale.
func (p Pair) offset() time.Duration { return time.Duration(int64(p.System) - int64(p.Local)) }

// StepSince returns by how much the system clock moved against the local
// timescale since the pair before (positive = forward), and an error when that
// is more than a slew can explain (ErrStepped, ErrSuspended). After a suspend
// the amount means nothing.
func (p Pair) StepSince(before Pair) (time.Duration, error) {
	moved := p.offset() - before.offset()
	if d := p.SuspendOffset - before.SuspendOffset; d > suspendFloor || d < -suspendFloor {
		return moved, ErrSuspended
	}
	passed := p.Local.Sub(before.Local)
	if passed < 0 {
		return moved, fmt.Errorf("%w: the pairs are in the wrong order", ErrOutside)
	}
	limit := passed/1_000_000*slewPPM + (p.Width+before.Width)/2 + stepFloor
	if moved > limit || moved < -limit {
		return moved, ErrStepped
	}
	return moved, nil
}

// ToLocal converts a stamp of the system clock to the local timescale, given
// the pairs sampled before and after the stamped event, and returns the
// half-width of the error of that conversion. It refuses (ErrStepped,
// ErrSuspended, ErrOutside) when the conversion would be a guess.
func ToLocal(stamp timescale.UTC, before, after Pair) (timescale.Local, time.Duration, error) {
	moved, err := after.StepSince(before)
	if err != nil {
		return 0, 0, err
	}
	if stamp.Sub(before.System) < -before.Width || stamp.Sub(after.System) > after.Width {
		return 0, 0, ErrOutside
	}
	// The slew is taken as even; if it was not, or if a step hides below the
	// threshold, the whole movement is the error.
	bound := max(before.Width, after.Width)/2 + max(moved, -moved)
	span := after.System.Sub(before.System)
	if span <= 0 {
		return before.Local, bound, nil
	}
	// A step hidden below the threshold can leave the stamp outside the span.
	part := min(max(float64(stamp.Sub(before.System))/float64(span), 0), 1)
	at := timescale.Local(int64(stamp) - int64(before.offset())).Add(-time.Duration(part * float64(moved)))
	return at, bound, nil
}

// Sample reads all clocks: brackets raw–real–raw and mono–boot–mono, of each the
// narrowest of up to five, because whatever interrupts a read only ever widens it.
func Sample() Pair { return sample(read, 0) }

// sample is Sample that stops at a bracket no wider than enough. clock returns the reading
// of a clock, ns.
func sample(clock func(uintptr) int64, enough time.Duration) Pair {
	var best Pair
	for i := range tries {
		r1 := clock(clockRaw)
		sys := clock(clockReal)
		r2 := clock(clockRaw)
		width := time.Duration(r2 - r1)
		if i == 0 || width < best.Width {
			best.Local = timescale.Local(r1 + (r2-r1)/2)
			best.System = timescale.UTC(sys)
			best.Width = width
		}
		if width <= enough {
			break
		}
	}
	best.Boottime, best.SuspendOffset = suspended(clock)
	return best
}

// suspended reads the boot clock, and by how much it is ahead of the one that stops
// in suspend. clock returns the reading of a clock, ns.
func suspended(clock func(uintptr) int64) (boottime, offset time.Duration) {
	narrowest := time.Duration(math.MaxInt64)
	for range tries {
		m1 := clock(clockMono)
		boot := clock(clockBoot)
		m2 := clock(clockMono)
		if width := time.Duration(m2 - m1); width < narrowest {
			narrowest = width
			boottime, offset = time.Duration(boot), time.Duration(boot-(m1+(m2-m1)/2))
		}
		if narrowest <= closeSuspend {
			break
		}
	}
	return boottime, offset
}

// Now returns the present instant of the local timescale.
func Now() timescale.Local { return timescale.Local(read(clockRaw)) }

// BootNow reads the boot clock, which counts suspend too: ages are told by it.
func BootNow() timescale.Local { return timescale.Local(read(clockBoot)) }

// Suspended returns the time this machine has spent in suspend since boot,
// good to some microseconds.
func Suspended() time.Duration { return Sample().SuspendOffset }

// BootID returns the kernel's random name of this boot, or "" where the
// kernel does not tell.
func BootID() string { return bootID("/proc/sys/kernel/random/boot_id") }

func bootID(path string) string {
	b, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}
