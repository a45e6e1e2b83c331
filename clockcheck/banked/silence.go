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

// portQuiet is after how long without a byte a port is said to be silent, as package gnss/port says it.
const portQuiet = 30 * time.Second

// playedStep: silence is played in steps that grow by 2 %, so its answer is 2/100 short at
// most (assumption: what it is compared with may be 10 %).
const playedStep = 1.02

// Lasts is how long the verdicts of the last judgement would last, at most until, if every
// reading stopped now, s by mode shown; −1 where a mode is not within. It is not worked
// out but played, on a copy of the judge: what good-for says must not be longer. now and
// system are those of the judgement, which is last.
func (j *Judge) Lasts(now timescale.Local, system timescale.UTC, last *clockcheck.Judgement, until float64) []float64 {
	c, y := j.Clone(), j.bank.Best().F.V[estimate.Y]
	out, on := make([]float64, len(last.Modes)), make([]bool, len(last.Modes))
	for i, m := range last.Modes {
		if on[i] = m.Verdict == clockcheck.Within; !on[i] {
			out[i] = -1
		}
	}
	var d clockcheck.Judgement
	for t := 1.0; t <= until && slices.Contains(on, true); t = max(t+1, t*playedStep) {
		after := time.Duration(t * 1e9)
		if after > portQuiet && c.rx.Present {
			c.ReceiverLost("It is silent.")
		}
		ahead, _ := j.Ahead(last.Error, t) // the clock goes on as it goes
		c.judge(now.Add(after), system.Add(time.Duration((t+ahead-last.Error+y*t)*1e9)), &d)
		for i := range on {
			if on[i] = on[i] && d.Modes[i].Verdict == clockcheck.Within; on[i] {
				out[i] = t
			}
		}
	}
	return out
}

// Clone is a judge of its own that knows the same.
func (j *Judge) Clone() *Judge {
	c := *j
	c.bank, c.watch, c.events = j.bank.Clone(), bank.Trace(nil), slices.Clone(j.events)
	c.trust = maps.Clone(j.trust)
	c.verdict = verdicts{slices.Clone(j.verdict.since), slices.Clone(j.verdict.eased), slices.Clone(j.verdict.within), slices.Clone(j.verdict.good)}
	return &c
}
