package steer

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// slew follows a correction that ends by itself, as the kernel makes it: at each
// full second of the clock up to 500 µs of what is left are taken out and spread
// over the second that begins (second_overflow in kernel/time/ntp.c). What has been
// taken out goes on even when the rest is ordered anew, and the kernel does not tell
// it: forgotten, the clock would swing to and fro for ever.
type slew struct {
	left    time.Duration // not begun
	running time.Duration // spread over the present second
	at      timescale.UTC // the clock when last looked at
}

// pass moves on to the clock's time now, with the seconds that began by that.
func (w *slew) pass(now timescale.UTC) { w.passed(now, second(now)-second(w.at)) }

// passed moves on to the clock's time now; n seconds have begun for the kernel.
func (w *slew) passed(now timescale.UTC, n int64) {
	for ; n > 0; n-- {
		w.running = min(max(w.left, -chunk), chunk)
		w.left -= w.running
		if w.running == 0 {
			break
		}
	}
	w.at = now
}

// underWay is what is still to come of the part that runs, at the time last passed.
func (w *slew) underWay() time.Duration {
	rest := time.Second - mod(time.Duration(w.at), time.Second)
	return time.Duration(float64(w.running) * rest.Seconds())
}

// toCome is all that is still to be added to the clock.
func (w *slew) toCome(timescale.UTC) time.Duration { return w.left + w.underWay() }

func second(u timescale.UTC) int64 {
	return (int64(u) - int64(mod(time.Duration(u), time.Second))) / timescale.Second
}

// fine: an error smaller than this share of its own uncertainty is left alone, for
// taking it out would only follow the noise.
const fine = 1.0 / 50

// phase takes the error out, at once or slowly.
func (s *Steerer) phase(in Input, a *Actions) {
	j := in.Judgement
	switch {
	case s.impossible(in):
		s.step(in, a, "It showed a date before this program was built; the hardware clock's is possible.")
		return
	case !j.Known || !j.Guarded:
		s.word, s.because = Observing, "Nothing that is confirmed tells the time yet."
		return
	case s.leaping(in):
		s.word, s.because = Holding, "A leap second is near: nothing is done to the clock."
		return
	}
	if s.large(j) && (s.stepped == 0 || in.Now.Sub(s.stepped) >= stepPause) {
		wait := time.Duration(0)
		if s.wasWithin {
			wait = s.gaps.wait(in.System, ns(-j.Error))
		}
		if wait == 0 {
			s.step(in, a, "It was too far off to be turned slowly.")
			return
		}
		s.turn(in, a)
		s.word, s.because = Waiting, "The clock is to be stepped by "+seconds(ns(-j.Error))+" when the gap between transmissions comes."
		a.Wake = in.Now.Add(wait)
		return
	}
	s.turn(in, a)
}

// large: a step may be thought of. The worst error after it must be smaller, and
// not by the estimate alone: what it might be spans ErrorLo to ErrorHi.
func (s *Steerer) large(j *clockcheck.Judgement) bool {
	worst := math.Max(math.Abs(j.ErrorLo), math.Abs(j.ErrorHi))
	after := math.Max(math.Abs(j.ErrorLo-j.Error), math.Abs(j.ErrorHi-j.Error))
	return math.Abs(j.Error) > s.cfg.StepOver.Seconds() && after < worst
}

// impossible: the clock shows a date before the program was built, and an RTC that
// nobody has compared shows a later one.
func (s *Steerer) impossible(in Input) bool {
	j := in.Judgement
	return j.Known && !j.Guarded && j.Basis == clockcheck.BasisRTC && s.cfg.Floor != 0 &&
		in.System < s.cfg.Floor && in.System.Add(ns(-j.Error)) >= s.cfg.Floor
}

// step moves the clock at once. The kernel then forgets its correction and its marks.
func (s *Steerer) step(in Input, a *Actions, why string) {
	a.Step = ns(-in.Judgement.Error)
	a.SetSlew = false
	s.slew = slew{at: in.System.Add(a.Step)}
	s.stepped = in.Now
	s.word, s.because = Stepping, "The clock was stepped by "+seconds(a.Step)+". "+why
	const layout = "2006-01-02 15:04:05.000"
	s.note(in.Now, "stepped", "The clock was stepped by "+seconds(a.Step)+", from "+in.System.Time().Format(layout)+
		" to "+in.System.Add(a.Step).Time().Format(layout)+" UTC. "+why)
}

// turn orders a correction that ends by itself. Below one second's worth half of it
// is ordered: should the kernel do otherwise than slew thinks, it still settles.
func (s *Steerer) turn(in Input, a *Actions) {
	j := in.Judgement
	want := ns(-j.Error) - s.slew.underWay()
	fineness := max(2*time.Microsecond, ns(math.Min(j.Bound*fine, 0.002)))
	switch {
	case want.Abs() >= fineness || s.slew.left != 0 && want.Abs() >= time.Microsecond:
		if want.Abs() < chunk {
			want /= 2
		}
		a.SetSlew, a.Slew = true, want.Round(time.Microsecond)
	case s.slew.left != 0 || a.SetSlew:
		a.SetSlew, a.Slew = true, 0
	}
	if a.SetSlew {
		s.slew.left = a.Slew
	}
	if ns(j.Error).Abs() > 2*time.Millisecond && ns(j.Error).Abs() > ns(j.Bound)/2 {
		s.word, s.because = Slewing, "The clock is turned by "+seconds(ns(-j.Error))+", 0.5 ms a second."
		return
	}
	s.word, s.because = Holding, "The clock is held on time."
}

func ns(s float64) time.Duration { return time.Duration(s * 1e9) }
