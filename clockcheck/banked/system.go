package banked

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

const (
	// stepOver, s: the clock moved by more than slewing can. Its two readings are no further apart
	// than a busy machine lets a bracket be (assumption: 1 ms; the least tolerance is 300).
	stepOver = 0.001
	// slewRate, s/s: adjtime(3) moves the clock so fast (kernel/time/ntp.c, MAX_TICKADJ).
	slewRate = 500e-6
	// slewMost, s/s = 2·slewRate: the frequency word moves it by as much besides (MAXFREQ).
	slewMost = 2 * slewRate
	// rateOver, s: over which the clock's rate is measured, first over a sixth of it: brackets of 10 µs
	// make 1 ppm in ten seconds (assumption).
	rateOver = 60
)

// systemClock follows how fast the system clock runs against the local timescale.
type systemClock struct {
	set     bool
	l0, l1  timescale.Local
	s0, s1  timescale.UTC
	rate    float64 // s/s, system gains on local
	steered clockcheck.Steered
}

// feed takes a pair; it reports a step of the clock since the last, s.
func (c *systemClock) feed(l timescale.Local, s timescale.UTC) (step float64) {
	if !c.set {
		*c = systemClock{set: true, l0: l, l1: l, s0: s, s1: s, rate: c.rate, steered: c.steered}
		return 0
	}
	dl := l.Sub(c.l1).Seconds()
	if d := s.Sub(c.s1).Seconds() - dl; math.Abs(d) > stepOver+slewMost*dl {
		c.set = false
		c.feed(l, s)
		return d
	}
	c.l1, c.s1 = l, s
	if long := l.Sub(c.l0).Seconds(); long >= rateOver/6 {
		c.rate = s.Sub(c.s0).Seconds()/long - 1
		if long > rateOver {
			c.l0, c.s0 = l, s
		}
	}
	return 0
}

// drift is how far the clock will have moved against UTC, which gains y on the local
// timescale, after t more seconds: a correction under way ends by itself. s.
func (c *systemClock) drift(t, y float64) float64 {
	if !c.steered.On {
		return (c.rate - y) * t
	}
	left := math.Min(math.Abs(c.steered.Pending), slewRate*t)
	return (c.steered.FreqPPM*1e-6-y)*t + math.Copysign(left, c.steered.Pending)
}

// turned is when the correction under way ends, s from now.
func (c *systemClock) turned() float64 {
	if !c.steered.On {
		return 0
	}
	return math.Abs(c.steered.Pending) / slewRate
}

// Steered says what is being done to the clock from now on.
func (j *Judge) Steered(s clockcheck.Steered) { j.system.steered = s }

// Stepped says that this program itself has just moved the system clock by that much.
func (j *Judge) Stepped(by time.Duration) {
	j.system.s0, j.system.s1 = j.system.s0.Add(by), j.system.s1.Add(by)
}
