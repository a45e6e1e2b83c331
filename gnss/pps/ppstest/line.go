// Package ppstest is a simulated pulse line: what edges a receiver's pulse brings, at
// what true instants, with the faults of real ones. The same model, seed and calls give
// the same edges. One goroutine.
package ppstest

import (
	"math"
	"math/rand/v2"
	"sort"
	"time"

	"noonmark/clockcheck/timescale"
)

// Model is how a pulse comes. The zero Model is a perfect one with no length.
type Model struct {
	Width    time.Duration // from the edge on the second to the other; 100 ms and 500 ms are usual
	Inverted bool          // the clear edge is the one on the second
	Lone     bool          // only assert edges are captured
	Delay    time.Duration // of all edges: cable, interrupt
	Jitter   time.Duration // 1σ of the interrupt's further delay, never early
	Missing  float64       // chance that an edge is lost, 0 to 1
	Spurious float64       // chance of an edge that is none, each second
}

// Edge is one edge.
type Edge struct {
	At    timescale.UTC // true instant at which the kernel stamps it
	Clear bool          // else assert
}

// Line is a pulse line. Make one with New.
type Line struct {
	m   Model
	rng *rand.Rand
}

// New returns a line.
func New(m Model, seed uint64) *Line {
	return &Line{m: m, rng: rand.New(rand.NewPCG(seed, 0x707073))}
}

// Emit returns the edges of the pulse of a whole second, in order, when the receiver
// takes the second to begin late: what a false signal, or its own oscillator without a
// fix, makes of it. They may lie in the seconds beside.
func (l *Line) Emit(second timescale.UTC, late time.Duration) []Edge {
	begin := second.Add(late)
	edges := make([]Edge, 0, 3)
	add := func(at timescale.UTC, clear bool) {
		at = at.Add(l.m.Delay + time.Duration(math.Abs(l.rng.NormFloat64())*float64(l.m.Jitter)))
		if lost := l.rng.Float64() < l.m.Missing; !lost && !(clear && l.m.Lone) {
			edges = append(edges, Edge{at, clear})
		}
	}
	add(begin, l.m.Inverted)
	add(begin.Add(l.m.Width), !l.m.Inverted)
	if at, clear := l.rng.Float64(), l.rng.IntN(2) == 1; l.rng.Float64() < l.m.Spurious {
		add(second.Add(time.Duration(at*1e9)), clear)
	}
	sort.SliceStable(edges, func(i, k int) bool { return edges[i].At < edges[k].At })
	return edges
}
