package explain

import (
	"fmt"
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
)

// mostTerms is how many explanations the budget names; the rest is in the least of them (assumption:
// who reads more). leastTerm, s: what adds less is not named: 1 ms, as it is printed.
const mostTerms, leastTerm = 3, 0.001

// reach is how far from the best a track puts UTC, s.
type reach struct {
	i    int
	half float64
}

// Budget splits the guard, all s, into its terms, which add up to it: what the best
// explanation leaves open by itself, how far the published estimate is from it, and what each
// further one adds, with how likely it is.
func Budget(dst []clockcheck.Term, b *bank.Bank, all float64) []clockcheck.Term {
	own := math.Min(b.Own(), all) // the equation's tails are a little narrower than one z
	dst = append(dst, clockcheck.Term{Name: "estimate", GuardS: own, Because: "what the readings leave open, at 99.99 %"})
	at := own
	add := func(name string, half float64, because string) {
		if half = math.Min(half, all); half > at+leastTerm {
			dst = append(dst, clockcheck.Term{Name: name, GuardS: half - at, Because: because})
			at = half
		}
	}
	c := b.Correction()
	add("oscillator or latency", own+math.Abs(c), "the receiver's sentences moved a little, and either of the two did it")
	second := math.Inf(-1) // of those in which the receiver is ahead
	var far [mostTerms]reach
	n := 0
	for i := range b.Tracks() {
		t := &b.Tracks()[i]
		if t == b.Best() || !b.Alive(i) {
			continue
		}
		_, lo, hi := b.Reach(i)
		half := math.Max(c-lo, hi-c)
		if t.Lead > 0 {
			second = math.Max(second, half)
			continue
		}
		n = farthest(&far, n, reach{i, half})
	}
	for _, r := range far[:n] {
		t := &b.Tracks()[r.i]
		because := "other explanations of what was heard"
		if a, ok := last(t); ok {
			because = fmt.Sprintf("%s likely: %s", percent(b.Weight(r.i)), Assumption(a))
		}
		add("another explanation", r.half, because)
	}
	add("whole second", second, "leap-second data not confirmed")
	add("not seen yet", all, "a receiver that is led away slowly, or an oscillator that moves, shows later")
	return dst
}

// farthest keeps the explanations that reach farthest, the nearest first.
func farthest(far *[mostTerms]reach, n int, r reach) int {
	if n == mostTerms {
		if r.half <= far[0].half {
			return n
		}
		copy(far[:], far[1:])
		n--
	}
	k := n
	for ; k > 0 && far[k-1].half > r.half; k-- {
		far[k] = far[k-1]
	}
	far[k] = r
	return n + 1
}

// percent writes a share with one digit that counts.
func percent(p float64) string {
	switch {
	case p >= 0.01:
		return fmt.Sprintf("%.0f %%", 100*p)
	case p >= 0.001:
		return fmt.Sprintf("%.1f %%", 100*p)
	}
	return "less than 0.1 %"
}
