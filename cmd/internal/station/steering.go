package station

import (
	"errors"
	"fmt"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
)

// steering joins the Steerer to the judge: what is wanted goes out as Actions, what
// was done comes back, and the judge is told of it.
type steering struct {
	s       *steer.Steerer // nil = the clock is only watched
	actions steer.Actions
	in      steer.Input
	told    clockcheck.Steered // what the judge knows of it
}

func newSteering(cfg *Config) steering {
	if cfg.Steer == nil {
		return steering{}
	}
	c := *cfg.Steer
	c.Leaps, c.RTCSteady = cfg.Leaps, cfg.Judge.RTCCompensated
	return steering{s: steer.New(c)}
}

// decide asks what is to be done, and passes the events on.
func (s *Station) decide(t Tick) {
	s.steer.actions = steer.Actions{}
	if t.Kernel != nil {
		s.judge.KernelWritesRTC(t.Kernel.Bits&steer.BitUnsync == 0)
	}
	if s.steer.s == nil || t.Kernel == nil {
		return
	}
	s.steer.in = steer.Input{Now: t.Local, System: t.System, Width: t.Width, Judgement: &s.judgement, Kernel: *t.Kernel, Read: t.Read,
		RTCAwaits: s.rtcAwaits(t.Local)}
	s.steer.actions = s.steer.s.Decide(s.steer.in)
	st := s.steer.s.Steered(s.steer.in)
	s.judge.Steered(st)
	if st != s.steer.told {
		s.steer.told = st
		s.judge.Promise(&s.judgement) // good-for is what follows from what is done to the clock now
	}
	if st.On {
		// The Steerer has said it better.
		for i := len(s.events) - 1; i >= 0 && s.events[i].At == t.Local; i-- {
			if s.events[i].Kind == "clock-stepped" {
				s.events = append(s.events[:i], s.events[i+1:]...)
			}
		}
	}
	s.events = append(s.events, s.steer.actions.Events...)
}

// Actions is what the last Tick wants done to the clock and to the hardware clock.
// Whoever does it says so with Done, before the next Tick.
func (s *Station) Actions() steer.Actions { return s.steer.actions }

// Ending is what is to be done to the clock when the program ends in order.
func (s *Station) Ending() steer.Actions {
	if s.steer.s == nil {
		return steer.Actions{}
	}
	return s.steer.s.End()
}

// takeDone says that the kernel did what Actions wanted, or why it did not. After a step
// the last snapshot speaks of another clock: Tick again before publishing.
func (s *Station) takeDone(now timescale.Local, err error) {
	if s.steer.s == nil {
		return
	}
	if err == nil {
		s.steer.s.Done(now)
		if a := s.steer.actions; a.Step != 0 {
			s.judge.Stepped(a.Step)
		}
		return
	}
	denied := errors.Is(err, steer.ErrNotPermitted)
	why := "The kernel refused: " + err.Error() + ". It is asked again in a minute."
	if denied {
		why = "Noonmark has no right to set the clock (CAP_SYS_TIME), so it only watches. Run it as its service."
	}
	s.steer.s.Failed(now, denied, why)
	s.steer.told = clockcheck.Steered{}
	s.judge.Steered(s.steer.told)
	s.note(now, "not-steered", why)
}

// takeRTCWritten says that the hardware clock was written as Actions wanted, between two
// instants, or why it was not.
func (s *Station) takeRTCWritten(before, after timescale.Local, err error) {
	if s.steer.s == nil {
		return
	}
	s.events = append(s.events, s.steer.s.RTCWritten(before, after, err)...)
	if err == nil {
		s.judge.WroteRTC()
	}
}

// rtcRead shows a reading of the hardware clock to both.
func (s *Station) rtcRead(r *clockcheck.RTC) {
	s.rtcReadings++
	if r.Invalid {
		s.rtcReadings = rtcEnough // there is nothing to lose
	}
	s.judge.RTC(r)
	if s.steer.s != nil {
		s.events = append(s.events, s.steer.s.RTC(r)...)
	}
}

// takeUse names the mode in use, "" for none: the gap for a step follows it.
func (s *Station) takeUse(mode string) {
	s.cfg.InUse = mode
	if s.steer.s != nil {
		s.steer.s.Use(mode)
	}
}

// Resume takes the clock back from another program at the operator's word. The error
// says why there is nothing to take back.
func (s *Station) Resume(now timescale.Local) error {
	if s.steer.s == nil {
		return errors.New("noonmark only watches the clock here: set clock.steer to true to have it set")
	}
	e, ok := s.steer.s.Resume(now)
	if !ok {
		w, because := s.steer.s.Word()
		return fmt.Errorf("there is nothing to take back: noonmark has not left the clock to another program (%s: %s)", w, because)
	}
	s.events = append(s.events, e)
	return nil
}

// LearnedSteering is what of steering is worth keeping over a power-off; nothing where
// the clock is only watched.
func (s *Station) LearnedSteering() steer.Learned {
	if s.steer.s == nil {
		return steer.Learned{}
	}
	return s.steer.s.Learned()
}

// word says what is done to the clock, for the status.
func (s *Station) word() (word, because string) {
	if s.steer.s == nil {
		return s.cfg.Steering, ""
	}
	w, because := s.steer.s.Word()
	return string(w), because
}
