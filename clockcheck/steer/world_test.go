package steer_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/steer/steertest"
	"noonmark/clockcheck/timescale"
)

// world is a machine whose oscillator is osc ppm fast, a true UTC, and a judge who
// knows the truth up to noise.
type world struct {
	t      testing.TB
	s      *steer.Steerer
	c      *steertest.Clock
	local  timescale.Local
	origin timescale.Local
	born   timescale.UTC
	osc    float64
	j      clockcheck.Judgement
	noise  float64 // s, of the judge's estimate
	rng    *rand.Rand
	events []clockcheck.Event
	last   steer.Actions
	dead   bool                                // the program was killed
	late   struct{ read, apply time.Duration } // a busy machine: the kernel is read, and told, so much after the clocks
}

var night = timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 6, 250e6, time.UTC))

func newWorld(t testing.TB, cfg steer.Config, off time.Duration) *world {
	w := &world{t: t, local: 5e9, origin: 5e9, born: night, osc: 12, rng: rand.New(rand.NewPCG(1, 2))}
	w.c = steertest.New(w.local, night.Add(off))
	if cfg.Modes == nil {
		cfg.Modes = modes("FT8", "FT4")
	}
	w.s = steer.New(cfg)
	w.j = clockcheck.Judgement{Known: true, Guarded: true, Bound: 0.02, Guard: 0.04, Basis: clockcheck.BasisGNSS,
		RateBoundPPM: 0.5, Proved: []string{"date", "second", "latency"}}
	return w
}

func modes(names ...string) (out []clockcheck.Mode) {
	for _, n := range names {
		m, err := clockcheck.ModeNamed(n)
		if err != nil {
			panic(err)
		}
		out = append(out, m)
	}
	return out
}

// utc is the truth now.
func (w *world) utc() timescale.UTC {
	return w.born.Add(time.Duration(float64(w.local-w.origin) / (1 + w.osc*1e-6)))
}

// err is the clock's true error, s.
func (w *world) err() float64 { return w.c.System(w.local).Sub(w.utc()).Seconds() }

func (w *world) pass(d time.Duration) { w.local = w.local.Add(d) }

// tick judges and steers once.
func (w *world) tick() steer.Actions {
	w.t.Helper()
	if w.dead {
		return steer.Actions{}
	}
	j := w.j
	j.At = w.local
	j.LocalRatePPM = -w.osc
	j.Error = w.err() + w.noise*w.rng.NormFloat64()
	if j.ErrorLo == 0 && j.ErrorHi == 0 {
		j.ErrorLo, j.ErrorHi = j.Error-j.Guard, j.Error+j.Guard
	} else {
		j.ErrorLo, j.ErrorHi = j.Error+j.ErrorLo, j.Error+j.ErrorHi
	}
	in := steer.Input{Now: w.local, System: w.c.System(w.local), Judgement: &j}
	w.pass(w.late.read)
	in.Read, in.Kernel = w.local, w.c.Kernel(w.local)
	a := w.s.Decide(in)
	w.events = append(w.events, a.Events...)
	w.pass(w.late.apply)
	defer func() { w.s.Done(w.local) }()
	if err := w.c.Apply(w.local, a); err != nil {
		w.s.Failed(w.local, true, "This program may not set the clock.")
	}
	w.last = a
	return a
}

// run lets d pass at one tick a second.
func (w *world) run(d time.Duration) {
	w.t.Helper()
	for range int(d / time.Second) {
		w.pass(time.Second)
		w.tick()
	}
}

func (w *world) word() steer.Word {
	word, because := w.s.Word()
	if because == "" || !strings.HasSuffix(because, ".") {
		w.t.Errorf("%s: no sentence: %q", word, because)
	}
	return word
}

// kinds lists the events so far, and forgets them.
func (w *world) kinds() string {
	var kinds []string
	for _, e := range w.events {
		kinds = append(kinds, e.Kind)
	}
	w.events = nil
	return strings.Join(kinds, " ")
}

// holds fails unless the clock is within limit, s.
func (w *world) holds(limit float64) {
	w.t.Helper()
	if e := w.err(); math.Abs(e) > limit {
		w.t.Errorf("the clock is %+.6f s off, more than %g s", e, limit)
	}
}

func within(names ...string) (out []clockcheck.ModeJudgement) {
	for _, m := range modes(names...) {
		out = append(out, clockcheck.ModeJudgement{Mode: m, Verdict: clockcheck.Within})
	}
	return out
}
