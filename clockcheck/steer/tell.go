package steer

import (
	"math"
	"slices"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

const (
	// vouchFor: largest error of a clock that somebody vouches for, and the error at
	// which that is taken back. One second is the widest tolerance of the timed modes.
	vouchFor  = time.Second
	vouchStop = 2 * time.Second
	// leapDay is how long before a leap second the kernel is told: it takes the mark to
	// mean the end of the present UTC day (second_overflow in kernel/time/ntp.c).
	leapDay  = 24*time.Hour - 10*time.Second
	leapNear = 15 * time.Second
	// quietAfter: so long into a holdover the kernel may go on writing the hardware clock: once more at most, for it
	// does so each 11 minutes (kernel/time/ntp.c). The largest step of an oscillator, 20 ppm, is 13 ms by then.
	quietAfter = 11 * time.Minute
)

// tell keeps the kernel's own marks true.
func (s *Steerer) tell(in Input, a *Actions) {
	j := in.Judgement
	st := Status{Unsync: true, MaxError: maxMaxErr, EstError: maxMaxErr}
	if j.Known && j.Guarded {
		left := math.Abs(j.Error + a.Step.Seconds())
		st.MaxError = min(ns(math.Min(left+j.Guard, 1e6)), maxMaxErr).Round(time.Microsecond)
		st.EstError = min(ns(math.Min(left+j.Bound/2.576, 1e6)), maxMaxErr).Round(time.Microsecond)
		limit := vouchFor
		if s.vouched {
			limit = vouchStop
		}
		s.vouched = s.vouchable(in) && st.MaxError <= limit
		st.Unsync = !s.vouched || s.cfg.Unvouched || s.sparesRTC(in)
		s.leapMarks(in, a, &st)
	} else {
		s.vouched = false
	}
	a.SetStatus, a.Status = true, st
	s.told, s.haveTold = st, true
}

// vouchable: somebody besides the RTC tells the time, and nothing is left open about
// the day and the second. The RTC has said its word before, for then it gets written: at once by
// the kernel (sync_hw_clock in kernel/time/ntp.c), or by us. What it has kept over the power-off
// is a witness of its own.
func (s *Steerer) vouchable(in Input) bool {
	j := in.Judgement
	if in.RTCAwaits || !j.Known || !j.Guarded || !slices.Contains(j.Proved, "date") || !slices.Contains(j.Proved, "second") {
		return false
	}
	switch j.Basis {
	case clockcheck.BasisRTC, clockcheck.BasisNone:
		return false
	case clockcheck.BasisHoldover:
		return s.vouched // it goes on, it does not begin
	}
	return true
}

// sparesRTC: nobody tells the time, and the hardware clock keeps it better than the oscillator. The kernel
// would write it from the very clock on which it is the one witness left, so that it went wherever that
// goes. It writes unless the clock is marked "not synchronised", and nothing else stops it.
func (s *Steerer) sparesRTC(in Input) bool {
	switch {
	case !s.vouched || in.Judgement.Basis != clockcheck.BasisHoldover:
		s.silent = 0
	case s.silent == 0:
		s.silent = in.Now
	}
	return s.cfg.RTCSteady && s.silent != 0 && in.Now.Sub(s.silent) >= quietAfter
}

// leapMarks: only a vouched-for clock knows which day it is.
func (s *Steerer) leapMarks(in Input, a *Actions, st *Status) {
	if !s.vouched {
		return
	}
	now := in.System.Add(ns(-in.Judgement.Error))
	if tai, ok := s.cfg.Leaps.TAI(now); ok {
		if st.TAI = tai; tai == in.Kernel.TAI {
			st.TAI = 0
		}
	}
	if l, ok := s.cfg.Leaps.Within(now, leapDay); ok {
		st.Insert, st.Delete = l.Insert, !l.Insert
	}
}

// leaping: a leap second is so near that clock and references may name it differently.
func (s *Steerer) leaping(in Input) bool {
	now := in.System.Add(ns(-in.Judgement.Error))
	_, ok := s.cfg.Leaps.Within(now.Add(-leapNear), 2*leapNear)
	return ok
}

// leapt: the kernel itself put the leap second in or left it out, as it was told.
func (s *Steerer) leapt(in Input, moved time.Duration) bool {
	want := time.Duration(0)
	switch {
	case s.told.Insert:
		want = -time.Second
	case s.told.Delete:
		want = time.Second
	}
	day := timescale.UTC(24 * time.Hour)
	into := in.System % day
	near := into < timescale.UTC(time.Minute) || into > day-timescale.UTC(time.Minute)
	return want != 0 && near && (moved-want).Abs() < 10*time.Millisecond
}
