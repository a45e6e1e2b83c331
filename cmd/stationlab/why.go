package main

import (
	"fmt"
	"io"
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/banked"
	"noonmark/clockcheck/explain"
	"noonmark/cmd/internal/lab"
	"noonmark/cmd/internal/station"
	"noonmark/status"
)

// why prints, around an instant of a story, each reading and what each explanation made
// of it.
type why struct {
	out      io.Writer
	from, to time.Duration
	now      time.Duration
	judge    *banked.Judge
	listed   bool
}

// around is so much before and after the instant.
const around = 15 * time.Second

// make makes the judge that stands on the bank, watched.
func (w *why) make(cfg clockcheck.Config, learned clockcheck.Learned) *banked.Judge {
	w.judge = banked.New(cfg, learned)
	w.judge.Watch(w)
	return w.judge
}

// trace keeps the instant of the story, and passes on.
func (w *why) trace(next lab.Trace) lab.Trace {
	return func(at time.Duration, truth float64, s *status.Snapshot) {
		w.now = at
		if w.open() {
			fmt.Fprintf(w.out, "%9s  error %+.4f s, guard %.4f s, truth %+.4f s\n", at.Truncate(time.Second), s.Clock.ErrorS.V, s.Clock.GuardS.V, truth)
		}
		if at >= w.from+around && !w.listed {
			w.listed = true
			w.list()
		}
		next(at, truth, s)
	}
}

// list prints the explanations that the guard reckons with, and those that wait.
func (w *why) list() {
	for _, l := range explain.List(w.judge.Bank()) {
		fmt.Fprintf(w.out, "%12s %s\n", "", l)
	}
}

func (w *why) open() bool { return w.now >= w.from && w.now <= w.to }

// input is shown what reaches the station.
func (w *why) input(in *station.Input) {
	if w.open() && in.Tick == nil {
		fmt.Fprintf(w.out, "%9s  read: %s\n", w.now.Truncate(time.Second), lab.InWords(in))
	}
}

// Reading is shown each reading.
func (w *why) Reading(r bank.Reading) {
	if w.open() {
		fmt.Fprintf(w.out, "%9s  %s says %.4f s\n", w.now.Truncate(time.Second), explain.Source(r.Source), float64(r.Z%1e12)/1e9)
	}
}

// Made is shown what each track made of it.
func (w *why) Made(m bank.Made) {
	if !w.open() {
		return
	}
	fmt.Fprintf(w.out, "%12d: innovation %+.4f s, σ %.4f s, %5.2f nats; costs %.1f, then %.1f", m.Track, m.NuS, math.Sqrt(m.VarS2), m.Nats, m.Cost, m.Then)
	for _, a := range m.Assumed {
		fmt.Fprintf(w.out, "; %s", explain.Assumption(a))
	}
	fmt.Fprintln(w.out)
}
