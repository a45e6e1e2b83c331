package clockcheck

import (
	"math"
	"time"
)

// Steered is what this program itself does to the system clock. The judge cannot
// tell it from another program's doing by looking at the clock.
type Steered struct {
	On      bool
	FreqPPM float64 // the kernel's frequency word: the system clock gains so much on the local timescale
	Pending float64 // s that a correction which ends by itself has still to add to the clock
}

// slewPPM is how fast such a correction goes: adjtime(3) moves the clock by 500 µs
// a second (kernel/time/ntp.c, MAX_TICKADJ).
const slewPPM = 500

// Steered says what is being done to the clock from now on.
func (j *Judge) Steered(s Steered) { j.clock.steered = s }

// Stepped says that this program itself has just moved the system clock by that
// much: the next look is no surprise.
func (j *Judge) Stepped(by time.Duration) {
	j.clock.s0 = j.clock.s0.Add(by)
	j.clock.s1 = j.clock.s1.Add(by)
}

// WroteRTC says that this program itself has set the hardware clock: it is compared
// anew at its next reading, and what was learned of its rate stands.
func (j *Judge) WroteRTC() {
	j.rtc.written = true
	j.learned.RTC = nil
	if j.rtc.fault == fInvalid || j.rtc.fault == fEarlyDate || j.rtc.fault == fDisagrees {
		j.rtc.fault = fWasSet
	}
}

// OtherWroteRTC says that somebody who knew more than this judge has set the hardware
// clock. As after WroteRTC it is only compared anew; but what it said before stands where
// it disagreed, for who set it decided nothing here.
func (j *Judge) OtherWroteRTC() {
	disagreed := j.rtc.fault == fDisagrees
	if j.WroteRTC(); disagreed {
		j.rtc.fault = fDisagrees
	}
}

// drift is how far the system clock will have moved against UTC after t more
// seconds if no reading ever came again: a correction under way ends by itself.
func (j *Judge) drift(t float64) float64 {
	c := &j.clock
	if c.steered.On {
		left := math.Min(math.Abs(c.steered.Pending), slewPPM*1e-6*t)
		return (c.steered.FreqPPM*1e-6-j.f.v[sY])*t + math.Copysign(left, c.steered.Pending)
	}
	if c.haveRate {
		return (c.rate - j.f.v[sY]) * t
	}
	return -j.f.v[sY] * t
}
