package steer

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// Rules for telling another program's hand. What we order we know, so the clock must
// go as ordered and the kernel must read back as told. One surprise may be somebody at
// a keyboard: it is put right. A second within the hour is a program, and two programs
// that correct each other make a worse clock than either.
const (
	surprise  = time.Millisecond // a step, not a slew: the clock moved by more than ordered
	surpriseR = 1000e-6          // … and by more than that share of the time passed
	again     = time.Hour        // two surprises within it: a program is at work
	// quiet is how long nothing foreign must be seen before we try again: programs that
	// keep clocks act at least each 1024 s (RFC 5905: the usual longest poll), or twice that.
	quiet     = 40 * time.Minute
	firstRest = time.Hour
	longRest  = 6 * time.Hour
	oneAct    = 5 * time.Second // surprises so close together are one doing
)

// watch remembers what is to be expected.
type watch struct {
	have      bool
	at        timescale.Local
	offset    int64 // system − local, ns
	kernel    Kernel
	disturbed bool            // at this look
	last      timescale.Local // surprise; 0 = none
	aside     bool
	until     timescale.Local
	rest      time.Duration
}

func (w *watch) forget() { w.have, w.disturbed = false, false }

// expect notes how things stand when a is done.
func (s *Steerer) expect(in Input, a *Actions) {
	w := &s.watch
	w.have, w.at = true, in.Now
	w.offset = int64(in.System) - int64(in.Now) + int64(a.Step)
	k := in.Kernel
	if a.ResetLoop {
		k.Loop, k.TickPPM, k.Bits = 0, 0, k.Bits&^ruled
	}
	if a.SetStatus {
		k.Bits, k.MaxError = k.Bits&^told|a.Status.Bits(), a.Status.MaxError
	}
	k.FreqPPM = s.freq
	w.kernel = k
}

// look finds whether anybody else has done something since the last look.
func (s *Steerer) look(in Input) {
	w := &s.watch
	w.disturbed = false
	what := ""
	if w.have {
		what = s.foreign(in)
	}
	if what == "" {
		return
	}
	w.disturbed = true
	s.slew = slew{left: in.Kernel.SlewLeft, at: in.System}
	s.freq = in.Kernel.FreqPPM
	first := w.last == 0 || in.Now.Sub(w.last) > again
	same := w.last != 0 && in.Now.Sub(w.last) < oneAct
	w.last = in.Now
	switch {
	case w.aside || same:
	case first:
		s.note(in.Now, "clock-touched", "Another program "+what+". It is put right.")
	default:
		s.setAside(in, what)
	}
}

// foreign says what somebody else did, "" for nothing.
func (s *Steerer) foreign(in Input) string {
	w, k := &s.watch, &in.Kernel
	passed := in.Now.Sub(w.at).Seconds()
	moved := time.Duration(int64(in.System) - int64(in.Now) - w.offset)
	if limit := surprise.Seconds() + surpriseR*passed; math.Abs(moved.Seconds()) > limit && !s.leapt(in, moved) {
		return "moved the clock by " + seconds(moved)
	}
	switch {
	case math.Abs(k.FreqPPM-w.kernel.FreqPPM) > 0.001 || math.Abs(k.TickPPM-w.kernel.TickPPM) > 0.01:
		return "changed the clock's rate"
	case k.Bits&ruled != w.kernel.Bits&ruled:
		return "set the kernel's own loop to work on the clock"
	case w.kernel.Bits&BitUnsync != 0 && k.Bits&BitUnsync == 0:
		return "told the kernel that the clock is right"
	case w.kernel.Bits&BitUnsync == 0 && k.Bits&BitUnsync != 0 && passed < 60:
		return "set the clock, to nearly the same time"
	case k.MaxError < w.kernel.MaxError-time.Microsecond, !w.aside && k.MaxError > w.kernel.MaxError+time.Duration(float64(chunk)*(passed+2)):
		return "told the kernel how far off the clock is"
	case w.aside && k.SlewLeft.Abs() > w.kernel.SlewLeft.Abs():
		return "began to turn the clock"
	case !w.aside && (k.SlewLeft-s.slew.left).Abs() > chunk+chunk/2:
		return "began to turn the clock"
	}
	return ""
}

// setAside leaves the clock to the other program.
func (s *Steerer) setAside(in Input, what string) {
	w := &s.watch
	w.rest = min(max(2*w.rest, firstRest), longRest)
	w.aside, w.until = true, in.Now.Add(w.rest)
	s.note(in.Now, "another-program", "Another program steers the clock, too: it "+what+
		", and not for the first time. Noonmark leaves the clock to it. Stop the other program, or set clock.steer to false.")
}

// standAside watches only, and looks whether the other program has gone.
func (s *Steerer) standAside(in Input) {
	w := &s.watch
	s.word, s.because = Another, "Another program steers the clock; noonmark leaves it alone and looks again later. Stop one of the two."
	w.have, w.at, w.kernel = true, in.Now, in.Kernel
	w.offset = int64(in.System) - int64(in.Now)
	s.slew = slew{left: in.Kernel.SlewLeft, at: in.System}
	s.freq = in.Kernel.FreqPPM
	if in.Now >= w.until && in.Now.Sub(w.last) >= quiet {
		w.aside, w.last = false, 0
		w.forget()
		s.started, s.haveTold = false, false
		s.note(in.Now, "steering-again", "No other program has touched the clock for a while: noonmark steers it again.")
	}
}
