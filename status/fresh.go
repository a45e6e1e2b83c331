package status

import (
	"fmt"
	"math"

	"noonmark/clockcheck/timescale"
)

// Rules of this file.
//
//   - Age is counted on CLOCK_BOOTTIME, which nobody steps and which counts
//     suspend; the wall clock is exactly what is in doubt.
//   - Linux disciplines CLOCK_REALTIME and CLOCK_BOOTTIME with one rate
//     (kernel timekeeping: both are the same base plus an offset), so a slew does
//     not show in the difference of the two, and a step shows in full.
//   - What is older than maxStaleS is stale whatever it says of itself.

const (
	maxStaleS = 60.0
	// stepFloorS is the movement that two bracketed pairs of readings cannot
	// tell from none: each pair is good to a fraction of a millisecond on an
	// idle machine and to about one on a loaded small one (from experience).
	stepFloorS = 0.002
	// slewShare bounds how far the system clock's error moves per second since
	// the status was written, by the largest slew Linux makes (500 ppm, adjtimex(2)).
	slewShare = 500e-6
	// futureS forgives the rounding of boottime_s to a tenth of a microsecond.
	futureS = 0.001
)

// Now is a reader's own present: three things taken at one instant (ReadNow).
type Now struct {
	BootID    string        // /proc/sys/kernel/random/boot_id
	BoottimeS float64       // CLOCK_BOOTTIME, seconds
	System    timescale.UTC // CLOCK_REALTIME
	AsleepS   Float         // CLOCK_BOOTTIME − CLOCK_MONOTONIC
}

// Freshness says whether a snapshot is news, and what became of the clock since.
type Freshness struct {
	OK      bool
	Because string  // one sentence; when not OK, also what to do
	AgeS    float64 // since it was written; 0 when that cannot be said
	// StepS is how far the system clock was stepped since: positive = forward.
	// 0 when it was not, or when the movement is too small to tell from none.
	StepS float64
	// slackS bounds the movement that does not show in StepS: it is added to the
	// guard, so a margin of two or three milliseconds is none to a reader.
	slackS float64
}

// Fresh judges how old s is at now, by the boot and the boot clock alone, and
// whether anything stepped the system clock since s was written.
func Fresh(s Snapshot, now Now) Freshness {
	w := s.Written
	if w.BootID == "" || now.BootID == "" {
		return Freshness{Because: "The status does not say which start of the computer it belongs to."}
	}
	if w.BootID != now.BootID {
		return Freshness{Because: "The status is from before the computer was last started. Start noonmark."}
	}
	age := now.BoottimeS - w.BoottimeS
	limit := math.Min(w.StaleAfterS, maxStaleS)
	switch {
	case !(age >= -futureS):
		return Freshness{Because: "The status claims to be from the future: the file is damaged, or not noonmark's."}
	case !(age <= limit):
		return Freshness{AgeS: age, Because: fmt.Sprintf(
			"The status is %s old: noonmark has stopped or hangs. Start it again.", Span(age))}
	case !s.Live: // a simulated clock may go at any speed: only the age counts
		return Freshness{OK: true, AgeS: math.Max(age, 0), Because: fmt.Sprintf("The simulation's status is %s old.", Span(math.Max(age, 0)))}
	case !w.SystemUTC.OK:
		return Freshness{AgeS: age, Because: "The status does not say what the system clock read when it was written."}
	}
	if a, b := w.AsleepS, now.AsleepS; a.OK && b.OK && math.Abs(a.V-b.V) > stepFloorS {
		return Freshness{AgeS: age, Because: "The computer slept since the status was written. " +
			"Ask again in a few seconds."}
	}
	age = math.Max(age, 0)
	moved := float64(now.System.Sub(w.SystemUTC.V)) / float64(timescale.Second)
	step := moved - (now.BoottimeS - w.BoottimeS)
	f := Freshness{OK: true, AgeS: age, Because: fmt.Sprintf("The status is %s old.", Span(age))}
	f.slackS = stepFloorS + slewShare*age
	if math.Abs(step) <= stepFloorS {
		f.slackS += math.Abs(step) // a small step may hide behind the readings
		return f
	}
	f.StepS = step
	f.Because = fmt.Sprintf("Something moved the system clock %s since the status was written %s ago.",
		direction(step), Span(age))
	return f
}

// seconds is u in seconds since 1970.
func seconds(u timescale.UTC) float64 { return float64(u) / float64(timescale.Second) }

// direction words a step.
func direction(step float64) string {
	if step < 0 {
		return "back by " + Number(-step) + " s"
	}
	return "forward by " + Number(step) + " s"
}

// Since is how long before now s was written, s; unlike Fresh it has no limit. It is
// not known when that was before the computer was last started.
func (s Snapshot) Since(now Now) (float64, bool) {
	age := now.BoottimeS - s.Written.BoottimeS
	return math.Max(age, 0), s.Written.BootID != "" && s.Written.BootID == now.BootID && age >= -futureS
}
