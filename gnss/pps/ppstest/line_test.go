package ppstest

import (
	"slices"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

const second = timescale.UTC(1_925_000_000_000_000_000)

func TestPerfectPulse(t *testing.T) {
	for _, inverted := range []bool{false, true} {
		got := New(Model{Width: 100 * time.Millisecond, Inverted: inverted}, 1).Emit(second, 0)
		want := []Edge{{second, inverted}, {second + 1e8, !inverted}}
		if !slices.Equal(got, want) {
			t.Errorf("inverted %v: %v", inverted, got)
		}
	}
	if got := New(Model{Lone: true, Inverted: true, Width: 5e8}, 1).Emit(second, 7); len(got) != 1 || got[0] != (Edge{second + 5e8 + 7, false}) {
		t.Errorf("%v", got)
	}
}

func TestFaultsComeAsOftenAsAsked(t *testing.T) {
	m := Model{Width: 1e8, Jitter: 5 * time.Microsecond, Missing: 0.1, Spurious: 0.05}
	l, same := New(m, 7), New(m, 7)
	const n = 20000
	on, odd, late := 0, 0, time.Duration(0)
	for i := range timescale.UTC(n) {
		at := second + i*1e9
		edges := l.Emit(at, 0)
		if !slices.Equal(edges, same.Emit(at, 0)) {
			t.Fatal("the same seed gives something else")
		}
		if !slices.IsSortedFunc(edges, func(a, b Edge) int { return int(a.At - b.At) }) {
			t.Fatalf("out of order: %v", edges)
		}
		for _, e := range edges {
			switch d := e.At.Sub(at); {
			case d >= 0 && d < 100*time.Microsecond:
				on++
				late += d
			case d < 1e8 || d > 1e8+100*time.Microsecond:
				odd++
			}
		}
	}
	// 3σ of a binomial; the mean of |N(0, σ)| is 0.798 σ.
	if on < 17850 || on > 18150 || odd < 800 || odd > 1100 {
		t.Errorf("%d on time, %d spurious of %d", on, odd, n)
	}
	if mean := float64(late) / float64(on); mean < 3900 || mean > 4100 {
		t.Errorf("late by %.0f ns on average", mean)
	}
}
