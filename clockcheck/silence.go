package clockcheck

import (
	"slices"
	"time"

	"noonmark/clockcheck/timescale"
)

// portQuiet is after how long without a byte a port is said to be silent (gnss/port).
const portQuiet = 30 * time.Second

// Lasts is how long the verdicts of the last judgement would last, at most until, if every
// reading stopped now, s by mode shown; −1 where a mode is not within. It is not worked
// out but played, on a copy of the judge: what good-for says must not be longer. now and
// system are those of the judgement, which is last.
func (j *Judge) Lasts(now timescale.Local, system timescale.UTC, last *Judgement, until float64) []float64 {
	c := j.clone()
	return PlaySilence(last, until, func(t float64, quiet bool, d *Judgement) {
		if quiet && c.rx.present {
			c.ReceiverLost("It is silent.")
		}
		ahead, _ := j.Ahead(last.Error, t) // the clock goes on as it goes
		c.judge(now.Add(seconds2d(t)), system.Add(seconds2d(t+ahead-last.Error+j.f.v[sY]*t)), d)
	})
}

// PlaySilence is Lasts for any judge. play has a copy of it judge t seconds after last, with
// no reading since; quiet: the receiver's port has been given up by then.
func PlaySilence(last *Judgement, until float64, play func(t float64, quiet bool, d *Judgement)) []float64 {
	out, on := make([]float64, len(last.Modes)), make([]bool, len(last.Modes))
	for i, m := range last.Modes {
		if on[i] = m.Verdict == Within; !on[i] {
			out[i] = -1
		}
	}
	var d Judgement
	for t := 1.0; t <= until && slices.Contains(on, true); t = max(t+1, t*1.02) {
		play(t, seconds2d(t) > portQuiet, &d)
		for i := range on {
			if on[i] = on[i] && d.Modes[i].Verdict == Within; on[i] {
				out[i] = t
			}
		}
	}
	return out
}

// clone is a judge of its own that knows the same.
func (j *Judge) clone() *Judge {
	c := *j
	c.rises, c.eases, c.within, c.events = slices.Clone(j.rises), slices.Clone(j.eases), slices.Clone(j.within), slices.Clone(j.events)
	return &c
}

// Clone is clone for whoever knows judges by an interface; its type is *Judge.
func (j *Judge) Clone() any { return j.clone() }
