package banked

import (
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/estimate"
)

const (
	// horizon, s: good-until is not looked for beyond (assumption: nobody plans further, and no guard of
	// any oscillator here lasts so long).
	horizon = 30 * 24 * 3600.0
	// nearGood: good-for is found to half a second, or this part of it: 1e-3 · 12 h =
	// 43 s (assumption: nobody reads more closely).
	nearGood = 1e-3
	// firstStep, s, and by how much each further one is longer, in looking for it (any would do: the
	// answer is the same; assumption).
	firstStep, longerStep = 4.0, 4
	// Where the error shrinks, each stretch that is looked at is longer than what lies before it by this part
	// of that: so good-for falls short by a hundredth at most (assumption: nobody reads more closely).
	longestStretch, shortestStretch = 0.2, 0.01
)

// Promise says again for how long each verdict within is good: after Steered, which changes
// where the clock goes from here.
func (j *Judge) Promise(dst *clockcheck.Judgement) {
	for i := range dst.Modes {
		if m := &dst.Modes[i]; m.Verdict == clockcheck.Within {
			m.GoodFor = j.goodFor(i, dst.Error, m.Mode.Tolerance.Seconds())
		}
	}
}

// goodFor looks for the instant at which |error| + guard reaches the tolerance if no
// reading ever came again, s from now; at most the horizon. It begins at the last answer. The
// guard grows all the time. The error need not: where it shrinks, the sum may reach the
// tolerance first and lie below it again later, so what lies between is looked at too.
func (j *Judge) goodFor(i int, err, tol float64) float64 {
	c := j.bank.Correction()
	off := func(t float64) float64 { return math.Abs(err + j.system.drift(t, j.bank.Best().F.V[estimate.Y])) }
	within := func(off, t float64) bool { return j.bank.Holds(tol-off, c, t) }
	good := farthest(math.Max(j.verdict.good[i]-1, 1), func(t float64) bool { return within(off(t), t) })
	if worst := math.Max(off(0), off(j.system.turned())); worst > off(good) && !within(worst, good) {
		good = throughout(good, func(a, b float64) bool { return within(math.Max(off(a), off(b)), b) })
	}
	j.verdict.good[i] = good
	return math.Floor(good)
}

// throughout is up to where holds is true of each stretch from 0 on, s, at most to end: in a stretch the guard of
// its end and the larger error of its two ends are taken together, so one that does not hold is
// tried shorter.
func throughout(end float64, holds func(a, b float64) bool) float64 {
	a, longer := 0.0, longestStretch
	for a < end {
		switch b := math.Min(a*(1+longer)+0.5, end); {
		case holds(a, b):
			a, longer = b, math.Min(2*longer, longestStretch)
		case longer < shortestStretch:
			return a
		default:
			longer /= 2
		}
	}
	return a
}

// farthest is up to where holds is true, s, to half a second or nearGood of it; at most the horizon.
// It begins to look at t.
func farthest(t float64, holds func(float64) bool) float64 {
	good, bad := 0.0, math.Inf(1)
	for step := firstStep; math.IsInf(bad, 1) || good == 0 && bad > 1; step *= longerStep {
		if holds(t) {
			if good = t; good >= horizon {
				return horizon
			}
			t = math.Min(t+step, horizon)
		} else {
			if bad = t; t <= 1 {
				break
			}
			t = math.Max(t-step, 1)
		}
	}
	for bad-good > 0.5+good*nearGood {
		if mid := (good + bad) / 2; holds(mid) {
			good = mid
		} else {
			bad = mid
		}
	}
	return good
}
