package lab

import (
	"fmt"
	"slices"
	"time"

	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
	"noonmark/rtc/rtctest"
)

func errUnknown(what, word string) error { return fmt.Errorf("%q is not known as %s", word, what) }

// event reads what happens at an instant. Each event is a chapter of its own that
// takes over how things stood before it.
func (c *Case) event(l *line) error {
	at, err := l.clock("the instant")
	if err != nil {
		return err
	}
	if at < c.at {
		return fmt.Errorf("events must be in the order of time; one before is at %v", c.at)
	}
	c.at = at
	last := c.Story[len(c.Story)-1]
	now := world.Chapter{From: at, Text: last.Text, Scene: last.Scene, Servers: slices.Clone(last.Servers), Portal: last.Portal, Way: last.Way}
	for _, read := range []func(*line, *world.Chapter) (bool, error){weather, others, network, receiverIs, machine} {
		if ok, err := read(l, &now); err != nil {
			return err
		} else if ok {
			c.Story = append(c.Story, now)
			return nil
		}
	}
	if l.is("say") {
		now.Text = l.rest()
	} else {
		err = scene(l, &now.Scene)
	}
	c.Story = append(c.Story, now)
	return err
}

// machine reads what happens to the computer and its hardware clock, and to the operator.
func machine(l *line, c *world.Chapter) (ok bool, err error) {
	switch {
	case l.is("pulse later by"):
		c.Pulse, err = l.span("how much later")
	case l.is("mark"):
		c.Mark, err = operatorsMark(l)
	case l.is("band"):
		c.Band, err = band(l)
	case l.is("time signal"):
		c.Signal, err = timeSignal(l)
	case l.is("hardware clock moved"):
		c.RTCMove, err = l.offset("the step")
	case l.is("battery"):
		err = battery(l, c)
	case l.is("sleep for"):
		c.Sleep, err = l.span("the sleep")
	case l.is("program down for"):
		err = programDown(l, c)
	case l.is("power off for"):
		err = powerOff(l, c)
	default:
		return false, nil
	}
	return true, err
}

func programDown(l *line, c *world.Chapter) (err error) {
	if c.Down, err = l.span("the time without the program"); err != nil {
		return err
	}
	for l.is(",") {
		switch {
		case l.is("stopped"):
			c.Stopped = true
		case l.is("state lost"):
			c.Forget = true
		case l.is("former state"):
			c.Former = true
		default:
			return fmt.Errorf("a program that is down may have been stopped, and come back with its state lost or a former state")
		}
	}
	return nil
}

func powerOff(l *line, c *world.Chapter) (err error) {
	if c.Off, err = l.span("the power-off"); err != nil {
		return err
	}
	for l.is(",") {
		switch {
		case l.is("without shutdown"):
			c.Cut = true
		case l.is("state lost"):
			c.Forget = true
		case l.is("former state"):
			c.Former = true
		default:
			return fmt.Errorf("a power-off may be without shutdown, with its state lost, or with a former state")
		}
	}
	return nil
}

func battery(l *line, c *world.Chapter) error {
	for b, name := range map[rtctest.Battery]string{rtctest.BatteryGood: "good", rtctest.BatteryLow: "low", rtctest.BatteryDead: "dead"} {
		if l.is(name) {
			c.Battery = &b
			return nil
		}
	}
	return fmt.Errorf("a battery is good, low or dead")
}

// scene reads what is done to the receiver and its bytes.
func scene(l *line, s *gnsstest.Scene) (err error) {
	var v float64
	switch {
	case l.is("sky"):
		v, err = l.number("satellites in view", "")
		s.Satellites = int(v)
		l.is("satellites")
		l.is("satellite")
	case l.is("false signal drags"):
		v, err = l.fast("the drag")
		s.FalseTime, s.FalseDrag = 1, time.Duration(v*1e3) // ns a second
	case l.is("false signal ends"):
		s.FalseTime, s.FalseDrag = 0, 0
	case l.is("false signal"):
		s.FalseTime, err = l.offset("the false signal's error")
	case l.is("receiver unplugged"):
		s.Unplugged = true
	case l.is("receiver plugged in"):
		s.Unplugged = false
	case l.is("status blinks"):
		s.Blink, err = l.number("the share of epochs said void", "%")
	case l.is("receiver stuck"):
		s.Stuck = true
	case l.is("receiver runs"):
		s.Stuck = false
	case l.is("bytes held back"):
		s.Held = true
	case l.is("bytes flow"):
		s.Held = false
	case l.is("bytes damaged"):
		s.Corrupt, err = l.number("the share of bytes damaged", "%")
	default:
		w, err := l.word("what happens")
		if err != nil {
			return err
		}
		return errUnknown("something that can happen", w)
	}
	return err
}
