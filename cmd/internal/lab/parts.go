package lab

import (
	"fmt"

	"noonmark/cmd/internal/world"
)

// transmitter reads how sending warms the crystal.
func transmitter(l *line, t *world.Transmitter) (err error) {
	switch {
	case l.is("warms"):
		if t.HeatC, err = l.number("how much it warms the crystal", "C"); err == nil && l.is("within") {
			t.Over, err = l.span("how fast")
		}
	case l.is("pushes"):
		t.PushPPM, err = l.number("by how much the supply pulls the rate", "ppm")
	case l.is("sends for"):
		t.On, err = l.span("the mean length of a turn on the air")
	case l.is("rests for"):
		t.Off, err = l.span("the mean length of a rest")
	default:
		err = fmt.Errorf("a transmitter warms, pushes, sends for, rests for")
	}
	return err
}

// thermometer reads a sensor: good, or a list of what is wrong with it.
func thermometer(l *line, m *world.Thermometer) (err error) {
	switch {
	case l.is("good"):
	case l.is("noise"):
		m.NoiseC, err = l.number("the noise", "C")
	case l.is("load"):
		m.LoadC, err = l.number("the processor's warmth at work", "C")
	case l.is("steps of"):
		m.StepC, err = l.number("the resolution", "C")
	case l.is("lag"):
		m.Lag, err = l.span("the lag")
	case l.is("own warmth"):
		if m.HeatC, err = l.number("the computer's own warmth", "C"); err == nil && l.is("over") {
			m.HeatOver, err = l.span("how long it takes to warm up")
		}
	default:
		m.OffC, err = l.number("by how much it shows too warm", "C")
		if err == nil && l.is("low") {
			m.OffC = -m.OffC
		} else if err == nil && !l.is("high") {
			err = fmt.Errorf("say whether the thermometer shows high or low")
		}
	}
	return err
}

func (c *Case) hardwareClock(l *line) (err error) {
	m := &c.RTC
	switch {
	case l.is("compensated"):
		c.Compensated, m.CurvePPM = true, 0
	case l.is("plain"):
		c.Compensated, m.CurvePPM = false, -0.034 // typical tuning fork, NXP UM10301 section 9
	case l.is("wander"):
		m.WanderPPM, err = l.number("the wander in a day", "ppm")
	case l.is("off for"):
		c.OffFor, err = l.span("the power-off")
	case l.is("local time"):
		m.Zone, err = l.span("the time zone")
	case l.is("first tick after"):
		m.FirstTick, err = l.span("the first tick after a write")
	case l.is("error"):
		c.RTCError, err = l.offset("the hardware clock's error")
	case l.is("stops below"):
		m.StopsBelowC, err = l.number("the temperature below which it stands", "C")
	case l.is("tells that it stopped"):
		m.StopTold = true
	case l.is("tells its supply"):
		m.HasFlags = true
	case l.is("starts at 1970"):
		m.ResetTo, m.InvalidFails = 1, false
	default:
		m.PPM, err = l.fast("the hardware clock's rate")
	}
	return err
}
