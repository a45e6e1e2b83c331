package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/banked"
	"noonmark/clockcheck/explain"
	"noonmark/status"
)

// refused is an explanation that alone makes the guard too wide for a tolerance.
type refused struct {
	what   string
	half   float64 // s: as far from the estimate it puts UTC
	weight float64 // 0 to 1; of a former state 0
}

// refuser is the likeliest explanation that refuses by itself: without it another may
// refuse still, but nothing is within while it stands.
func refuser(j *banked.Judge, s *status.Snapshot, tol float64) refused {
	cl := &s.Clock
	b := j.Bank()
	best := b.Best()
	if !best.Located || !cl.GuardS.OK {
		return refused{"nobody tells the time or the day", math.Inf(1), 0}
	}
	room := tol - math.Abs(cl.ErrorS.V)
	if room <= 0 {
		return refused{"the estimate itself: " + stands(best), math.Abs(cl.ErrorS.V), 1}
	}
	var most refused
	for i := range b.Tracks() {
		t := &b.Tracks()[i]
		if !b.Alive(i) {
			continue
		}
		_, lo, hi := b.Reach(i)
		half := math.Max(-lo, hi)
		if half <= room {
			continue
		}
		if t == best {
			return refused{"the best: " + stands(t), half, b.Weight(i)}
		}
		if b.Weight(i) > most.weight {
			most = refused{"another: " + apart(best, t), half, b.Weight(i)}
		}
	}
	if most.weight > 0 {
		return most
	}
	for i, age := range b.Former() {
		if age == 0 {
			continue
		}
		if _, lo, hi := b.FormerReach(i); math.Max(-lo, hi) > room {
			return refused{fmt.Sprintf("former state %d of: %s", i, stands(best)), math.Max(-lo, hi), 0}
		}
	}
	all := b.Half(0)
	if all > room {
		return refused{"an oscillator that moved unseen: " + stands(best), all, 0}
	}
	return refused{"the margin has not held for 2 s", all, 0}
}

// stands says on whom a track's UTC stands, and what it leaves open.
func stands(t *bank.Track) string {
	var on []string
	for s := range bank.NumSources {
		if t.On.Has(bank.Source(s)) {
			on = append(on, explain.Source(min(bank.Source(s), bank.Server)))
		}
	}
	w := "on " + strings.Join(slices.Compact(on), ", ")
	if t.Lead > 0 || t.LeadMost > 0 {
		w += ", ahead by seconds"
	}
	if t.Met && t.Free && !t.Out.Has(bank.Receiver) {
		w += ", lateness unproved"
	}
	if t.Hi-t.Lo > 0 {
		w += ", spans several"
	}
	if t.Out != 0 {
		w += ", without some"
	}
	return w
}

// apart says what a track assumes that the best does not.
func apart(best, t *bank.Track) string {
	var names []string
	for _, a := range t.Assumptions() {
		if slices.ContainsFunc(best.Assumptions(), func(o bank.Assumed) bool { return o.What == a.What && o.Of == a.Of && o.Since == a.Since }) {
			continue
		}
		n := bank.Prices[a.What].Name
		if a.Slow {
			n += " (slowly)"
		}
		names = append(names, n)
	}
	if len(names) == 0 {
		names = []string{"what it was before"}
	}
	return strings.Join(slices.Compact(names), " + ") + "; " + stands(t)
}
