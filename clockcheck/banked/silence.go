package banked

import (
	"math"
	"slices"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// portQuiet: a port that has been silent for so long is given up.
const portQuiet = 30 * time.Second

// Lasts is how long the verdicts of the last judgement would last, at most until, if every
// reading stopped now, s by mode shown; −1 where a mode is not within. It is played, on a
// copy of the judge: what good-for says must not be longer. now and system are those of
// the judgement, which is last.
func (j *Judge) Lasts(now timescale.Local, system timescale.UTC, last *clockcheck.Judgement, until float64) []float64 {
	c := j.clone()
	out, on := make([]float64, len(last.Modes)), make([]bool, len(last.Modes))
	for i, m := range last.Modes {
		if on[i] = m.Verdict == clockcheck.Within; !on[i] {
			out[i] = -1
		}
	}
	y := j.bank.Best().F.V[estimate.Y]
	var d clockcheck.Judgement
	for t := 1.0; t <= until && slices.Contains(on, true); t = math.Max(t+1, t*1.02) {
		at := now.Add(time.Duration(t * 1e9))
		if at.Sub(now) > portQuiet && c.rx.Present {
			c.ReceiverLost("It is silent.")
		}
		ahead, _ := j.Ahead(last.Error, t) // the clock goes on as it goes
		c.judge(at, system.Add(time.Duration((t+ahead-last.Error+y*t)*1e9)), &d)
		for i := range on {
			if on[i] = on[i] && d.Modes[i].Verdict == clockcheck.Within; on[i] {
				out[i] = t
			}
		}
	}
	return out
}

// clone is a judge of its own that knows the same.
func (j *Judge) clone() *Judge {
	c := *j
	c.bank, c.watch, c.events = j.bank.Clone(), bank.Trace(nil), slices.Clone(j.events)
	c.verdict = verdicts{slices.Clone(j.verdict.since), slices.Clone(j.verdict.within), slices.Clone(j.verdict.good)}
	return &c
}

// Clone is clone for whoever knows judges by an interface; its type is *Judge.
func (j *Judge) Clone() any { return j.clone() }
