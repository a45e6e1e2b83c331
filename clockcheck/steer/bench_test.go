package steer_test

import (
	"testing"

	"noonmark/clockcheck/steer"
)

// A second of a steered clock: judged by the test's own judge, decided, simulated. A
// night of 12 h has 43,200 of them.
func BenchmarkSecond(b *testing.B) {
	w := newWorld(b, steer.Config{Leaps: nil}, 0)
	w.noise = 0.003
	b.ReportAllocs()
	for b.Loop() {
		w.run(1e9)
	}
}
