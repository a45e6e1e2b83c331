package web

import (
	"errors"
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/crowd"
)

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
		if ago, stepped := s.SteppedAgo(); stepped {
			if err := crowd.AfterStep(ago); err != nil {
				return "", err
			}
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
