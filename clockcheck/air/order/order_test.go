package order

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestMiddle: the same as by sorting, with repeats, in order, in the reverse order and by chance.
func TestMiddle(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for n := 1; n < 200; n++ {
		for kind := range 4 {
			x := make([]float32, n)
			for i := range x {
				x[i] = [...]float32{float32(i), float32(-i), float32(r.IntN(5)), r.Float32()}[kind]
			}
			want := slices.Sorted(slices.Values(x))[n/2]
			if got := Middle(x); got != want {
				t.Fatalf("%d numbers, kind %d: %v, want %v", n, kind, got, want)
			}
		}
	}
}
