package clockcheck

import (
	"math"
	"testing"
)

func TestPlaces(t *testing.T) {
	for _, row := range []struct {
		name   string
		leaps  []float64
		lo, hi float64
	}{
		{"none", nil, 0, 0},
		{"once back", []float64{-0.44}, 0, 0.44},
		{"once ahead", []float64{1.18}, -1.18, 0},
		{"there and back", []float64{-0.44, 0.45}, 0, 0},
		{"there, on, and half back", []float64{-0.4, -0.3, 0.29}, 0, 0.41},
		{"there, on, and all the way back", []float64{-0.4, -0.3, 0.69}, 0, 0},
		{"both ways", []float64{0.3, -0.7}, 0, 0.7},
		{"more than are kept", []float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.1}, -0.6, 0},
		{"more than are kept, both ways", []float64{0.1, 0.1, 0.1, 0.1, -0.9}, 0, 0.9},
	} {
		var p places
		for _, s := range row.leaps {
			p.leapt(s)
		}
		if lo, hi := p.reach(); math.Abs(lo-row.lo) > 0.011 || math.Abs(hi-row.hi) > 0.011 {
			t.Errorf("%s: from %.2f to %.2f s, want %.2f to %.2f s", row.name, lo, hi, row.lo, row.hi)
		}
	}
}
