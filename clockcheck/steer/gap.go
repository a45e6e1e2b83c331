package steer

import (
	"slices"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// span is a stretch of time within a cycle, from its start: [from, to).
type span struct{ from, to time.Duration }

// gaps are the quiet times of one or more modes: spans that come again with each
// cycle, counted from 00:00 UTC as the periods are.
type gaps struct {
	cycle time.Duration
	spans []span
}

const (
	// edge is kept from the ends of a gap: an order takes time to be carried out.
	edge = 50 * time.Millisecond
	// filled is the gap ascribed to a mode that fills its period (common practice, no
	// source): stations change over at the period's end.
	filled = 500 * time.Millisecond
	// longest cycle looked at; beyond it a mode is left out of the common gap.
	maxCycle = time.Hour
)

// gapsOf are the gaps of the mode in use or, where none is named, the longest
// common gap of the modes shown. A mode with which nothing common would be left is
// left out, those named first having the first word.
func gapsOf(modes []clockcheck.Mode, inUse string) gaps {
	var g gaps
	for _, m := range modes {
		if inUse != "" && strings.EqualFold(m.Name, inUse) {
			return gapOf(m)
		}
		next := gapOf(m)
		if g.cycle == 0 {
			g = next
		} else if both := g.common(next); len(both.spans) > 0 {
			g = both
		}
	}
	longest := time.Duration(0)
	for _, s := range g.spans {
		longest = max(longest, s.to-s.from)
	}
	g.spans = slices.DeleteFunc(g.spans, func(s span) bool { return s.to-s.from < longest-time.Millisecond })
	return g
}

func gapOf(m clockcheck.Mode) gaps {
	from := m.Offset + m.Length
	if m.Period-from < 2*filled/5 {
		from = m.Period - filled
	}
	return gaps{m.Period, []span{{from, m.Period}}}
}

// common is the intersection of both, over the least common cycle.
func (g gaps) common(h gaps) gaps {
	cycle := g.cycle / gcd(g.cycle, h.cycle) * h.cycle
	if cycle > maxCycle {
		return gaps{}
	}
	out := gaps{cycle: cycle}
	for a := time.Duration(0); a < cycle; a += g.cycle {
		for b := time.Duration(0); b < cycle; b += h.cycle {
			out.spans = append(out.spans, intersect(g.spans, a, h.spans, b)...)
		}
	}
	slices.SortFunc(out.spans, func(a, b span) int { return int(a.from - b.from) })
	return out
}

// intersect lays p, moved by a, over q, moved by b.
func intersect(p []span, a time.Duration, q []span, b time.Duration) (out []span) {
	for _, s := range p {
		for _, t := range q {
			if c := (span{max(s.from+a, t.from+b), min(s.to+a, t.to+b)}); c.from < c.to {
				out = append(out, c)
			}
		}
	}
	return out
}

func gcd(a, b time.Duration) time.Duration {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// wait is how long from the clock's time now until a step by s may be made: the
// clock's time is in a gap before and after it. Where that never happens, before.
// 0 = now.
func (g gaps) wait(now timescale.UTC, s time.Duration) time.Duration {
	if g.cycle == 0 {
		return 0
	}
	shift := mod(s, g.cycle)
	var both []span
	for _, back := range []time.Duration{shift, shift - g.cycle} {
		both = append(both, intersect(g.spans, 0, g.spans, -back)...)
	}
	if d, ok := next(both, g.cycle, now); ok {
		return d
	}
	d, _ := next(g.spans, g.cycle, now)
	return d
}

// next is how long it takes until the clock is in one of spans, clear of its ends.
func next(spans []span, cycle time.Duration, now timescale.UTC) (d time.Duration, ok bool) {
	at := mod(time.Duration(now), cycle)
	for _, s := range spans {
		from, to := s.from+edge, s.to-edge
		if from >= to {
			continue
		}
		w := time.Duration(0)
		if at < from || at >= to {
			w = mod(from-at, cycle)
		}
		if !ok || w < d {
			d, ok = w, true
		}
	}
	return d, ok
}

// mod is a modulo b, never negative.
func mod(a, b time.Duration) time.Duration {
	if a %= b; a < 0 {
		a += b
	}
	return a
}
