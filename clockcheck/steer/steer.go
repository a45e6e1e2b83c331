package steer

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/leaps"
	"noonmark/clockcheck/timescale"
)

// Config is what a Steerer is told at its start.
type Config struct {
	StepOver  time.Duration     // never step by less; 0 = 0.25 s
	Modes     []clockcheck.Mode // the modes shown
	InUse     string            // the mode in use, by name; "" = none named
	Floor     timescale.UTC     // no true date lies before it; 0 = not known
	Unvouched bool              // keep the kernel's mark "not synchronised" always
	RTCSteady bool              // the hardware clock is temperature-compensated
	Leaps     *leaps.Table      // nil = not known
	RTC       string            // the hardware clock's chip, for what is learned of it; "" = none, or not to be set
	Ours      bool              // an earlier run of this program steered until it was killed: a correction under way is its
	Learned   Learned
}

// Word is what is being done to the clock, in a word for the status.
type Word string

// The words. Observing is also said when nothing is known to steer by.
const (
	Observing Word = "observing"
	Stepping  Word = "stepping" // just moved
	Waiting   Word = "waiting"  // a step waits for the gap; slewing meanwhile
	Slewing   Word = "slewing"
	Holding   Word = "holding"         // on time: only the oscillator's rate is corrected
	Another   Word = "another-program" // does the same; ours stands back
	Forbidden Word = "not-permitted"   // the kernel refuses
)

// Input is what Decide looks at: everything read at one instant, as nearly as the machine
// allows.
type Input struct {
	Now       timescale.Local
	System    timescale.UTC
	Width     time.Duration         // System may belong to any instant within Width/2 of Now
	Judgement *clockcheck.Judgement // of this very instant
	Kernel    Kernel
	Read      timescale.Local // by when Kernel had been read; 0 = at Now
	RTCAwaits bool            // the hardware clock has not said its word in this run, and may yet
}

// Steerer holds all state. Make one with New.
type Steerer struct {
	cfg       Config
	gaps      gaps
	started   bool
	wasWithin bool
	word      Word
	because   string
	freq      float64 // ppm, as last ordered
	slew      slew
	adopt     bool // the kernel's correction is ours, and how much of it is left must be read back
	ours      bool // … and what a start finds of it is no other program's
	watch     watch
	told      Status
	haveTold  bool
	vouched   bool
	silent    timescale.Local // since when nobody tells the time, while we vouch; 0 = somebody does
	stepped   timescale.Local // our own last step; 0 = none
	retry     timescale.Local // not before: the kernel refused
	rtc       rtcPolicy
	events    []clockcheck.Event
}

// stepPause is the least time between two steps of ours: the judge looks again.
const stepPause = 10 * time.Second

// New returns a Steerer that has not touched anything yet.
func New(cfg Config) *Steerer {
	if cfg.StepOver == 0 {
		cfg.StepOver = 250 * time.Millisecond
	}
	s := &Steerer{cfg: cfg, ours: cfg.Ours, word: Observing, because: "Nothing tells the time yet."}
	s.gaps = gapsOf(cfg.Modes, cfg.InUse)
	s.rtc = newRTCPolicy(cfg.RTC, cfg.Learned)
	return s
}

// Use names the mode in use, "" for none.
func (s *Steerer) Use(mode string) {
	if mode != s.cfg.InUse {
		s.cfg.InUse = mode
		s.gaps = gapsOf(s.cfg.Modes, mode)
	}
}

// Word says what is being done, and why in one sentence.
func (s *Steerer) Word() (Word, string) { return s.word, s.because }

// Steered is the same for the judge.
func (s *Steerer) Steered(in Input) clockcheck.Steered {
	if !s.started || s.watch.aside || s.retry != 0 {
		return clockcheck.Steered{}
	}
	return clockcheck.Steered{On: true, FreqPPM: s.freq, Pending: s.slew.toCome(in.System).Seconds()}
}

// Segment says that the machine slept: what the clock did meanwhile is nobody's doing. A
// correction that was under way goes on (timekeeping_resume leaves it).
func (s *Steerer) Segment() { s.watch.forget(); s.adopt = true; s.haveTold = false }

// Done says by when the kernel had done what the last Decide wanted.
func (s *Steerer) Done(now timescale.Local) { s.watch.done = now }

// End is what is to be done when the program ends in order: a correction under way is
// ended. Nobody would watch it any more, and the next start could not tell whose it is.
func (s *Steerer) End() (a Actions) {
	a.SetSlew = s.started && !s.watch.aside && s.slew.left != 0
	return a
}

// Failed says that the kernel refused what Decide wanted. permanent: it always will,
// for want of the right; else it is asked again after a minute.
func (s *Steerer) Failed(now timescale.Local, permanent bool, why string) {
	s.watch.forget()
	s.started, s.haveTold, s.slew = false, false, slew{}
	s.word, s.because = Forbidden, why
	s.retry = now.Add(time.Minute)
	if permanent {
		s.retry = math.MaxInt64
	}
}

// Decide says what is to be done now. It takes for granted that it is done, unless
// Failed is called.
func (s *Steerer) Decide(in Input) Actions {
	s.events = nil
	if s.retry != 0 && in.Now < s.retry {
		return Actions{}
	}
	s.retry = 0
	j := in.Judgement
	for _, m := range j.Modes {
		s.wasWithin = s.wasWithin || m.Verdict == clockcheck.Within
	}
	s.follow(in)
	if s.adopt {
		s.slew, s.adopt = slew{left: in.Kernel.SlewLeft, at: in.System}, false
	}
	s.look(in)
	if s.watch.aside {
		s.standAside(in)
		return Actions{Events: s.events}
	}
	var a Actions
	s.repair(in, &a)
	s.rate(in, &a)
	s.phase(in, &a)
	s.tell(in, &a)
	a.SetRTC = s.rtc.order(in, s.vouchable(in))
	a.Events = s.events
	s.expect(in, &a)
	return a
}

// follow moves the correction on as the kernel has. The kernel works its seconds off in its
// timer's interrupt, which on a busy machine comes seconds late, while the clock goes on: so
// they are counted by the kernel's own largest error, which grows by the same amount in each.
// At its limit it counts no more; then the clock's seconds must do.
func (s *Steerer) follow(in Input) {
	grown := in.Kernel.MaxError - s.watch.kernel.MaxError
	if !s.watch.have || grown < 0 || in.Kernel.MaxError >= maxMaxErr {
		s.slew.pass(in.System)
		return
	}
	n := int64((grown + chunk/2) / chunk)
	s.watch.owed = s.watch.behind
	s.watch.behind = max(0, s.watch.behind+second(in.System)-second(s.slew.at)-n)
	s.slew.passed(in.System, n)
}

// repair takes out at the start what an earlier program left in the kernel.
func (s *Steerer) repair(in Input, a *Actions) {
	k := in.Kernel
	if s.started {
		if s.watch.disturbed && (k.Bits&ruled != 0 || k.Loop != 0 || k.TickPPM != 0) {
			a.ResetLoop = true
		}
		return
	}
	s.started, s.freq = true, k.FreqPPM
	s.slew = slew{at: in.System}
	// A kernel that vouches for its clock was steered until now: somebody may be on the
	// air by it.
	s.wasWithin = s.wasWithin || k.Bits&BitUnsync == 0
	a.ResetLoop = k.Loop != 0 || k.Bits&ruled != 0 || math.Abs(k.TickPPM) > 0.01
	a.SetSlew = k.SlewLeft != 0
	switch {
	case a.ResetLoop: // never a doing of ours
		s.note(in.Now, "steering-repaired", "Another program had left the kernel correcting the clock: that is ended.")
	case a.SetSlew && !s.ours:
		s.note(in.Now, "steering-repaired", "A correction of the clock by "+seconds(k.SlewLeft)+
			" was under way at the start: it is ended. Another program began it, or a run of noonmark that was killed.")
	}
	s.ours = true
}

// learnedPPM is how well the oscillator's rate must be known (99 %) before it goes
// into the frequency word: as well as it must be to be kept over a power-off.
const learnedPPM = 13

// rate sees to the frequency word. What is smaller than a twentieth of what is
// uncertain is left: it would only follow the noise.
func (s *Steerer) rate(in Input, a *Actions) {
	j := in.Judgement
	want := 0.0
	if j.RateBoundPPM > 0 && j.RateBoundPPM <= learnedPPM {
		want = math.Min(math.Max(j.LocalRatePPM, -maxFreqPPM), maxFreqPPM)
	} else if s.haveTold {
		want = s.freq // it was learned once: better than nothing
	}
	if first := !s.haveTold; first && math.Abs(want-s.freq) > 20 {
		s.note(in.Now, "steering-repaired", fmt.Sprintf("The kernel was correcting the clock's rate by %+.1f ppm; %+.1f ppm is what is known of this oscillator.", s.freq, want))
	}
	if d := math.Abs(want - s.freq); d > math.Max(0.002, j.RateBoundPPM/20) || d != 0 && !s.haveTold || s.watch.disturbed {
		a.SetFreq, a.FreqPPM = true, want
		s.freq = want
	}
}

func (s *Steerer) note(at timescale.Local, kind, text string) {
	s.events = append(s.events, clockcheck.Event{At: at, Kind: kind, Text: text})
}

// seconds prints a signed time difference for a sentence.
func seconds(d time.Duration) string {
	switch a := d.Abs(); {
	case a < 10*time.Second:
		return fmt.Sprintf("%+.3f s", d.Seconds())
	case a < 2*time.Hour:
		return fmt.Sprintf("%+.1f s", d.Seconds())
	case a < 48*time.Hour:
		return fmt.Sprintf("%+.1f h", d.Hours())
	}
	return fmt.Sprintf("%+.1f days", d.Hours()/24)
}
