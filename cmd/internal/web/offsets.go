package web

import (
	"errors"
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/crowd"
	"noonmark/status"
)

// readWithin is how old typed offsets may be that the page asks for, with room for the typing.
const readWithin = 3 * time.Minute

// Timed are the modes whose offsets can be typed.
func (h *ByHand) Timed() (names []string) {
	for _, m := range band.Modes() {
		names = append(names, m.Name)
	}
	return names
}

// Offsets takes what a decoder shows for others, as noonmark hear --offsets does.
func (h *ByHand) Offsets(mode string, typed []string) (string, error) {
	m, err := band.ModeNamed(mode)
	if err != nil {
		return "", err
	}
	o, err := crowd.ByHand(typed, m.Name, m.Period, m.Doubt)
	if err != nil {
		return "", err
	}
	off := o.OffsetS - crowd.Delay
	return h.onLoop(func() (string, error) {
		s := h.snap
		if s == nil || !s.Written.SystemUTC.OK {
			return "", errBusy
		}
		if ago, moved := clockMoved(s); moved && ago < readWithin {
			return "", fmt.Errorf("the clock was stepped %.0f s ago: offsets read before that are of another clock. Wait %.0f s, read them again, and send those",
				ago.Seconds(), math.Ceil((readWithin - ago).Seconds()))
		}
		placed := h.cfg.Station().Air(clockcheck.Air{Source: clockcheck.Crowd, At: h.last, UTC: s.Written.SystemUTC.V.Add(-time.Duration(off * 1e9)),
			Modulo: m.Period, Bound: time.Duration(o.BoundS * 1e9), Common: time.Duration(crowd.Floor*1e9) + m.Doubt, Signals: o.Signals})
		if !placed {
			return "", errors.New("the offsets cannot be placed yet. They tell the time modulo the mode's period; all else must be known to half of that")
		}
		word, come := "fast", "late"
		if off < 0 {
			word, come = "slow", "early"
		}
		return fmt.Sprintf("By %d stations the station’s clock is %.2f s %s ± %.2f s. A clock that is %s has the others come %s. “Who tells the time” shows what it came to.",
			o.Signals, math.Abs(off), word, o.BoundS, word, come), nil
	})
}

// clockMoved is how long ago the system clock was stepped last, by the events still listed.
func clockMoved(s *status.Snapshot) (ago time.Duration, moved bool) {
	now := s.Written.SystemUTC.V
	if s.Clock.ErrorS.OK {
		now = now.Add(-time.Duration(s.Clock.ErrorS.V * 1e9))
	}
	for _, e := range s.Events {
		if (e.Kind == "stepped" || e.Kind == "clock-stepped") && e.UTC.OK {
			ago, moved = max(now.Sub(e.UTC.V), 0), true
		}
	}
	return ago, moved
}
