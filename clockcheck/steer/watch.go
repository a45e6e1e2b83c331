package steer

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// Rules for telling another program's hand. What we order we know, so the clock must
// go as ordered and the kernel must read back as told. What is otherwise is a surprise.
//
// An operator at a keyboard can set the clock, and set it again when he typed a wrong
// day: steps, each of more than a hand can do well. Those are put right. A program does
// what a hand cannot: it changes the rate, works the kernel's loop, turns the clock, or
// moves it by less than a hand's skill. Twice within the hour, or as many steps as nobody
// types, and a program is at work: two that correct each other make a worse clock than
// either. Another unit for network time that runs is seen by "noonmark preflight".
const (
	surprise  = time.Millisecond // a step, not a slew: the clock moved by more than ordered
	surpriseR = 1000e-6          // … and by more than that share of the time passed
	again     = time.Hour        // so long a surprise counts
	programs  = 2                // surprises of a kind that only a program makes
	hands     = 4                // of steps: nobody types that many dates in an hour (common practice, no source)
	// handsBest is what a hand can do at best: it types whole seconds and hits the key to
	// a fifth of one (a tap that reacts to a tone comes 0.15 to 0.2 s late; package marks).
	handsBest = 100 * time.Millisecond
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
	done      timescale.Local // by when it was done what was ordered at at; 0 = at once
	width     time.Duration   // of the bracket that offset was read in
	behind    int64           // seconds of the clock that the kernel has not worked off
	owed      int64           // … before this look
	offset    int64           // system − local, ns
	kernel    Kernel
	disturbed bool            // at this look
	last      timescale.Local // surprise; 0 = none
	acts      []act           // of the last hour, one after the other, fewer than hands
	aside     bool
	until     timescale.Local
	rest      time.Duration
}

// act is one surprise.
type act struct {
	at     timescale.Local
	manual bool // somebody at a keyboard could have done it
}

func (w *watch) forget() { w.have, w.disturbed, w.behind, w.owed = false, false, 0, 0 }

// expect notes how things stand when a is done.
func (s *Steerer) expect(in Input, a *Actions) {
	w := &s.watch
	w.have, w.at, w.done, w.width = true, in.Now, 0, in.Width
	w.offset = int64(in.System) - int64(in.Now) + int64(a.Step)
	k := in.Kernel
	if a.ResetLoop {
		k.Loop, k.TickPPM, k.Bits = 0, 0, k.Bits&^ruled
	}
	if a.SetStatus {
		k.Bits, k.MaxError = k.Bits&^announcedBits|a.Status.Bits(), a.Status.MaxError
	}
	k.FreqPPM = s.freq
	w.kernel = k
}

// look finds whether anybody else has done something since the last look.
func (s *Steerer) look(in Input) {
	w := &s.watch
	w.disturbed = false
	what, hand := "", false
	if w.have {
		what, hand = s.foreign(in)
	}
	if what == "" {
		return
	}
	w.disturbed, w.behind = true, 0
	s.slew = slew{left: in.Kernel.SlewLeft, at: in.System}
	s.freq = in.Kernel.FreqPPM
	same := w.last != 0 && in.Now.Sub(w.last) < oneAct
	w.last = in.Now
	if w.aside {
		return
	}
	w.count(in.Now, hand, same)
	switch {
	case w.steady():
		s.setAside(in, what)
	case !same:
		s.note(in.Now, "clock-touched", "Another program or a hand "+what+". It is put right.")
	}
}

// count keeps the surprises of the last hour. same: it belongs to the one before, and
// makes it a program's if it is.
func (w *watch) count(now timescale.Local, hand, same bool) {
	kept := w.acts[:0]
	for _, a := range w.acts {
		if now.Sub(a.at) <= again {
			kept = append(kept, a)
		}
	}
	w.acts = kept
	if n := len(kept); same && n > 0 {
		kept[n-1].manual = kept[n-1].manual && hand
		return
	}
	w.acts = append(kept, act{now, hand})
}

// steady reports whether a program is at work.
func (w *watch) steady() bool {
	by := 0
	for _, a := range w.acts {
		if !a.manual {
			by++
		}
	}
	return by >= programs || len(w.acts) >= hands
}

// foreign says what somebody else did, "" for nothing, and whether a hand could have.
func (s *Steerer) foreign(in Input) (what string, hand bool) {
	w, k := &s.watch, &in.Kernel
	passed := in.Now.Sub(w.at).Seconds()
	// A busy machine carries an order out later than it was given, and reads the kernel
	// later than the clocks: so many more of the clock's seconds may begin meanwhile, in
	// each of which the kernel works on its correction and its largest error.
	late := math.Floor(max(in.Read.Sub(in.Now), w.done.Sub(w.at), 0).Seconds())
	moved := time.Duration(int64(in.System) - int64(in.Now) - w.offset)
	if limit := surprise.Seconds() + surpriseR*passed + (in.Width+w.width).Seconds()/2; math.Abs(moved.Seconds()) > limit && !s.leapt(in, moved) {
		return "moved the clock by " + seconds(moved), moved.Abs() >= handsBest
	}
	switch {
	case math.Abs(k.FreqPPM-w.kernel.FreqPPM) > 0.001 || math.Abs(k.TickPPM-w.kernel.TickPPM) > 0.01:
		return "changed the clock's rate", false
	case k.Bits&ruled != w.kernel.Bits&ruled:
		return "set the kernel's own loop to work on the clock", false
	case w.kernel.Bits&BitUnsync != 0 && k.Bits&BitUnsync == 0:
		return "told the kernel that the clock is right", false
	case w.kernel.Bits&BitUnsync == 0 && k.Bits&BitUnsync != 0 && passed < 60:
		return "set the clock, to nearly the same time", false
	case k.MaxError < w.kernel.MaxError-time.Microsecond, !w.aside && k.MaxError > w.kernel.MaxError+time.Duration(float64(chunk)*(passed+2+late+float64(w.owed))):
		return "told the kernel how far off the clock is", false
	case w.aside && k.SlewLeft.Abs() > w.kernel.SlewLeft.Abs():
		return "began to turn the clock", false
	// A second may begin between each two calls by which the kernel is told and asked.
	case !w.aside && (k.SlewLeft-s.slew.left).Abs() > 2*chunk+chunk/2+time.Duration(late)*chunk:
		return "began to turn the clock", false
	}
	return "", false
}

// setAside leaves the clock to the other program.
func (s *Steerer) setAside(in Input, what string) {
	w := &s.watch
	w.rest = min(max(2*w.rest, firstRest), longRest)
	w.aside, w.until = true, in.Now.Add(w.rest)
	s.note(in.Now, "another-program", "Another program steers the clock, too: it "+what+
		", and not for the first time. Noonmark leaves the clock to it. Stop the other program, then take the clock back: noonmark resume.")
}

// standAside watches only, and looks whether the other program has gone.
func (s *Steerer) standAside(in Input) {
	w := &s.watch
	s.word, s.because = Another, "Another program steers the clock; noonmark leaves it alone and looks again later. Stop it, then take the clock back: noonmark resume."
	w.have, w.at, w.done, w.width, w.kernel = true, in.Now, 0, in.Width, in.Kernel
	w.offset = int64(in.System) - int64(in.Now)
	s.slew = slew{left: in.Kernel.SlewLeft, at: in.System}
	s.freq = in.Kernel.FreqPPM
	if in.Now >= w.until && in.Now.Sub(w.last) >= quiet {
		s.back()
		s.note(in.Now, "steering-again", "No other program has touched the clock for a while: noonmark steers it again.")
	}
}

// back begins to steer again, from what the kernel says then.
func (s *Steerer) back() {
	w := &s.watch
	w.aside, w.last, w.acts = false, 0, nil
	w.forget()
	s.started, s.haveTold, s.ours = false, false, false
}

// Resume takes the clock back from another program at the operator's word, and returns
// what there is to tell; false where noonmark does not stand aside.
func (s *Steerer) Resume(now timescale.Local) (e clockcheck.Event, ok bool) {
	if !s.watch.aside {
		return e, false
	}
	s.back()
	s.watch.rest = 0
	s.word, s.because = Observing, "The operator has taken the clock back."
	return clockcheck.Event{At: now, Kind: "steering-again", Text: "The operator has taken the clock back: noonmark steers it again."}, true
}
