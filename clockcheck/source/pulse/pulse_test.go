package pulse

import (
	"testing"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

const second = timescale.Local(1e9)

// An edge counts when it continues its comb once a second while the receiver has a fix.
func TestComb(t *testing.T) {
	p := New(clockcheck.EdgeAssert)
	passed := 0
	for k := timescale.Local(1); k <= 60; k++ {
		if _, ok := p.Take(&clockcheck.PPS{At: k * second, Edge: clockcheck.EdgeAssert}, k > 30, 0, 0); ok {
			if passed++; k <= 30 {
				t.Fatal("taken without a fix")
			}
		}
	}
	if passed != 3 {
		t.Errorf("%d of 30 edges are passed on, want one of ten", passed)
	}
	for k := timescale.Local(1); k <= 20; k++ {
		p.Take(&clockcheck.PPS{At: 60*second + k*second*3/10, Edge: clockcheck.EdgeAssert}, true, 0, 0)
	}
	if !p.Often {
		t.Error("edges three times a second are still a pulse")
	}
}

// The edge that always can be the second, while the other never can, is learned.
func TestEdge(t *testing.T) {
	p := New(clockcheck.EdgeUnknown)
	for k := timescale.Local(1); k <= 60; k++ {
		p.Take(&clockcheck.PPS{At: k * second, Edge: clockcheck.EdgeAssert}, true, 0.1, 0.05)
		p.Take(&clockcheck.PPS{At: k*second + second/10, Edge: clockcheck.EdgeClear}, true, 0.001, 0.05)
	}
	if p.Edge() != "clear" {
		t.Errorf("learned %q, want clear", p.Edge())
	}
}

// A pulse jumps beside a fix, with a hole or without: the receiver's time jumped, and by what was known
// before another edge may look like the second. It tells none, until it is back.
func TestAJumpTellsNoEdge(t *testing.T) {
	for _, hole := range []timescale.Local{0, 60} {
		p := New(clockcheck.EdgeUnknown)
		hear := func(from, to, off timescale.Local, near float64) {
			for k := from; k <= to; k++ {
				p.Take(&clockcheck.PPS{At: k*second + off, Edge: clockcheck.EdgeAssert}, true, near, 0.22)
				p.Take(&clockcheck.PPS{At: k*second + off + second/5, Edge: clockcheck.EdgeClear}, true, near+0.2, 0.22)
			}
		}
		hear(1, 100, 0, 0) // either may be the second
		hear(101+hole, 300+hole, -243e6, -0.243)
		if p.Edge() != "" {
			t.Errorf("after a jump and a hole of %d s it has learned the %s edge", hole, p.Edge())
		}
		hear(301+hole, 450+hole, 0, 0.03) // back, and known better: only one fits
		if p.Edge() != "assert" {
			t.Errorf("back where it was it has learned %q, want assert", p.Edge())
		}
	}
}
