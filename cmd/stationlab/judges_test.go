package main

import (
	"testing"

	"noonmark/cmd/internal/lab"
)

// BenchmarkNight plays one of the random nights of 12 h, by either judge.
func BenchmarkNight(b *testing.B) {
	for _, judge := range []string{"rules", "bank"} {
		b.Run(judge, func(b *testing.B) {
			seed := uint64(0)
			for b.Loop() {
				seed++
				c := judged{judge}.by(lab.Random(seed))
				c.Play(seed, 0, nil)
			}
		})
	}
}
