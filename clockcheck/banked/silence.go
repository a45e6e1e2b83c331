package banked

import (
	"maps"
	"slices"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// Lasts is how long the verdicts of the last judgement would last, at most until, if every
// reading stopped now, s by mode shown; see clockcheck.Judge.Lasts.
func (j *Judge) Lasts(now timescale.Local, system timescale.UTC, last *clockcheck.Judgement, until float64) []float64 {
	c, y := j.clone(), j.bank.Best().F.V[estimate.Y]
	return clockcheck.PlaySilence(last, until, func(t float64, quiet bool, d *clockcheck.Judgement) {
		if quiet && c.rx.Present {
			c.ReceiverLost("It is silent.")
		}
		ahead, _ := j.Ahead(last.Error, t) // the clock goes on as it goes
		c.judge(now.Add(time.Duration(t*1e9)), system.Add(time.Duration((t+ahead-last.Error+y*t)*1e9)), d)
	})
}

// clone is a judge of its own that knows the same.
func (j *Judge) clone() *Judge {
	c := *j
	c.bank, c.watch, c.events = j.bank.Clone(), bank.Trace(nil), slices.Clone(j.events)
	c.trust = maps.Clone(j.trust)
	c.verdict = verdicts{slices.Clone(j.verdict.since), slices.Clone(j.verdict.within), slices.Clone(j.verdict.good)}
	return &c
}

// Clone is clone for whoever knows judges by an interface; its type is *Judge.
func (j *Judge) Clone() any { return j.clone() }
