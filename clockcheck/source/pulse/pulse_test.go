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
