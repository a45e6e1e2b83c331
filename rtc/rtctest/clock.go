// Package rtctest simulates a battery-backed hardware clock in virtual time.
//
// In: instants of true UTC, what is done to the clock (set, power, battery) and
// its surroundings (temperature). Out: what it shows, either directly (At,
// NextEdge) or through the device seam of package rtc (NewDevice). The same
// model, seed and calls give the same answers. One goroutine at a time.
package rtctest

import (
	"math"
	"math/rand/v2"
	"syscall"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
)

// KeepPhase as Model.FirstTick: a write leaves the divider running, so the
// phase of the second after it is whatever it was before.
const KeepPhase time.Duration = -1

// Model says what kind of clock it is. The zero value is a perfect one whose
// driver cannot tell flags and which keeps the phase through a write.
type Model struct {
	PPM         float64 // rate error at T0 on the first day, positive = fast
	CurvePPM    float64 // ppm/°C², −0.034 for a tuning fork (NXP UM10301)
	T0          float64 // °C, the temperature at which the curve is flat, 25
	AgeingPPM   float64 // ppm per year
	WanderPPM   float64 // random walk of the rate, sd after one day
	Temperature func(timescale.UTC) float64
	// Below StopsBelowC °C the oscillator stands still, and goes on where it stood when it is
	// warmer; 0 = never. A cell or a crystal fails in the cold (a common cell's limit is
	// −20 °C; a plain crystal's −40 °C). StopTold: the chip then calls its time invalid, as
	// those with an oscillator-stop flag do; the crystal type has none.
	StopsBelowC float64
	StopTold    bool
	// FirstTick is the time from a write to the first tick after it: 1 s where
	// the write resets the divider, 0.5 s MC146818 and PCF8523, 0.508 s PCA8565,
	// or KeepPhase (sources: Linux drivers/rtc, NXP data sheets).
	FirstTick time.Duration
	Zone      time.Duration // east of UTC: a clock that was set to local time
	// After the supply fails the clock counts on from ResetTo, or from where it
	// stopped if that is 0. InvalidFails: the driver then answers reads with
	// EINVAL until the clock is set (most do; some return rubbish).
	ResetTo      timescale.UTC
	InvalidFails bool
	HasFlags     bool // the driver implements RTC_VL_READ
	// HasInterrupt: the update interrupt is wired, and arrives InterruptDelay late.
	HasInterrupt   bool
	InterruptDelay time.Duration
	ReadTime       time.Duration // one read over the bus; about 1 ms on I²C at 100 kHz
}

// Battery is the state of the backup cell.
type Battery int

// States of the backup cell.
const (
	BatteryGood Battery = iota
	BatteryLow
	BatteryDead // loses the time whenever the main supply is off
)

// grid is the step of the rate: temperature, ageing and wander are constant
// within one, so that answers do not depend on when questions were asked.
const grid = time.Minute

// Clock is a simulated hardware clock. Instants given to it must not go back by
// more than a minute; one before the present step is taken as its begin.
type Clock struct {
	m       Model
	rng     *rand.Rand
	born    timescale.UTC
	chain   chain
	walk    [2]float64 // ppm of wander, in this step and the next
	powered bool
	stopped bool // no oscillation: unpowered with a dead battery
	invalid bool
	battery Battery
	onBatt  bool
}

// chain is the divider chain in one step of constant rate.
type chain struct {
	step  timescale.UTC // begin of the step
	count timescale.UTC // what the chain held then: nominal nanoseconds
	frac  float64       // part of a nanosecond of count
	rate  float64       // counter seconds per second − 1
}

// to is the chain moved to t within its step.
func (h chain) to(t timescale.UTC) chain {
	d := max(t.Sub(h.step), 0)
	f := h.frac + float64(d)*h.rate
	n := math.Floor(f)
	return chain{max(t, h.step), h.count.Add(d + time.Duration(n)), f - n, h.rate}
}

// New returns a clock born, powered, valid and new at the true instant at,
// showing shows (UTC; Model.Zone is added) with a phase of its own, drawn from
// the seed, as if shows had been set some fraction of a second before.
func New(m Model, seed uint64, at, shows timescale.UTC) *Clock {
	c := &Clock{m: m, rng: rand.New(rand.NewPCG(seed, 0x7274632d74657374)), born: at, powered: true}
	c.chain = chain{step: at, count: whole(shows).Add(m.Zone + time.Duration(c.rng.Int64N(timescale.Second)))}
	c.chain.rate = c.rate(at, 0)
	c.walk[1] = c.nextWander()
	return c
}

func (c *Clock) nextWander() float64 {
	return c.walk[0] + c.m.WanderPPM*c.rng.NormFloat64()*math.Sqrt(grid.Hours()/24)
}

// rate is the relative rate error in the step that begins at t.
func (c *Clock) rate(t timescale.UTC, wander float64) float64 {
	ppm := c.m.PPM + wander + c.m.AgeingPPM*t.Sub(c.born).Hours()/(365.25*24)
	if c.m.Temperature != nil {
		now := c.m.Temperature(t.Add(grid / 2))
		if c.m.StopsBelowC != 0 && now < c.m.StopsBelowC {
			return -1
		}
		dt := now - c.m.T0
		ppm += c.m.CurvePPM * dt * dt
	}
	return ppm * 1e-6
}

// next is the chain at the begin of the step after this one.
func (c *Clock) next() chain {
	h := c.at(c.chain.step.Add(grid))
	h.rate = c.rate(h.step, c.walk[1])
	return h
}

// at is the chain at t in this step, or standing still.
func (c *Clock) at(t timescale.UTC) chain {
	h := c.chain
	if c.stopped {
		h.step = max(t, h.step)
		return h
	}
	return h.to(t)
}

// advance moves the begin of the step to the last one not after t.
func (c *Clock) advance(t timescale.UTC) {
	for t.Sub(c.chain.step) >= grid {
		c.chain = c.next()
		c.walk[0] = c.walk[1]
		c.walk[1] = c.nextWander()
		if c.chain.stands() && c.m.StopTold {
			c.invalid = true
		}
	}
}

// stands tells that the oscillator does not run in this step.
func (h chain) stands() bool { return h.rate <= -1 }

// settle begins a new step at t, for something is done to the clock.
func (c *Clock) settle(t timescale.UTC) {
	c.advance(t)
	c.chain = c.at(t)
}

// At returns what a program that reads the clock at the true instant t gets:
// whole seconds, or the kernel's error.
func (c *Clock) At(t timescale.UTC) (rtc.Fields, error) {
	c.advance(t)
	if !c.powered {
		return rtc.Fields{}, syscall.EIO
	}
	if c.invalid && c.m.InvalidFails {
		return rtc.Fields{}, syscall.EINVAL
	}
	return rtc.FieldsOf(c.at(t).count), nil
}

// NextEdge returns the first true instant after t at which the clock begins a
// second, and the second it then shows. It needs a clock that runs; ok says so.
func (c *Clock) NextEdge(t timescale.UTC) (at, shows timescale.UTC, ok bool) {
	c.advance(t)
	if c.stopped || !c.powered || c.invalid && c.m.InvalidFails {
		return 0, 0, false
	}
	shows = whole(c.at(t).count).Add(time.Second)
	if !c.chain.stands() {
		at = c.chain.until(shows)
	}
	if c.chain.stands() || at >= c.chain.step.Add(grid) {
		next := c.next()
		if next.stands() {
			return 0, 0, false
		}
		at = next.until(shows)
	}
	return at, shows, true
}

// until is the first instant at which the chain holds count or more.
func (h chain) until(count timescale.UTC) timescale.UTC {
	left := (float64(count.Sub(h.count)) - h.frac) / (1 + h.rate)
	at := h.step.Add(time.Duration(left) - 2)
	for h.to(at).count < count {
		at++
	}
	return at
}

// Flags returns the supply flags at t; known is false without HasFlags.
func (c *Clock) Flags(t timescale.UTC) (f rtc.Flags, known bool) {
	c.advance(t)
	if !c.m.HasFlags {
		return 0, false
	}
	if c.invalid {
		f |= rtc.DataInvalid
	}
	if c.onBatt {
		f |= rtc.BackupSwitch
	}
	switch c.battery {
	case BatteryLow:
		f |= rtc.BackupLow
	case BatteryDead:
		f |= rtc.BackupEmpty
	}
	return f, true
}

// Set writes the whole second shows (UTC; Model.Zone is added) at the true
// instant t, with the phase that the chip's rule gives. It makes the time valid.
func (c *Clock) Set(t, shows timescale.UTC) {
	c.settle(t)
	phase := c.chain.count.Sub(whole(c.chain.count))
	if c.m.FirstTick != KeepPhase && c.m.FirstTick != 0 {
		phase, c.chain.frac = time.Second-c.m.FirstTick, 0
	}
	c.chain.count = whole(shows).Add(c.m.Zone + phase)
	c.invalid = false
}

// Power switches the main supply at the true instant t. Off with a dead battery
// stops the clock and loses its time.
func (c *Clock) Power(t timescale.UTC, on bool) {
	c.settle(t)
	c.powered = on
	c.supply()
	if !on && !c.stopped {
		c.onBatt = true
	}
}

// SetBattery changes the state of the backup cell at the true instant t.
func (c *Clock) SetBattery(t timescale.UTC, b Battery) {
	c.settle(t)
	c.battery = b
	c.supply()
}

// supply stops or starts the oscillator as the supplies want.
func (c *Clock) supply() {
	c.stopped = !c.powered && c.battery == BatteryDead
	if !c.stopped {
		return
	}
	c.invalid = true
	if c.m.ResetTo != 0 {
		c.chain.count, c.chain.frac = c.m.ResetTo, 0
	}
}

// whole is u without the part of a second, also before 1970.
func whole(u timescale.UTC) timescale.UTC {
	r := int64(u) % timescale.Second
	if r < 0 {
		r += timescale.Second
	}
	return u - timescale.UTC(r)
}
