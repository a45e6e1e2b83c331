package band_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"noonmark/clockcheck/air/airtest"
	"noonmark/clockcheck/air/band"
)

// TestLeaveOut: what is 20 dB louder than the quieter half, or 30 dB quieter, is left out with a quarter
// of a second to both sides; the rest stays as it was.
func TestLeaveOut(t *testing.T) {
	for _, row := range []struct {
		name     string
		from, to float64 // s: made louder by db
		db       float64
		seconds  float64
	}{
		{"nothing", 0, 0, 0, 0},
		{"15 dB louder", 4, 8, 15, 0},
		{"25 dB louder", 4, 8, 25, 4.5},
		{"louder from the begin", 0, 3, 25, 3.25},
		{"louder to the end", 12, 15, 25, 3.25},
		{"25 dB quieter", 4, 6, -25, 0},
		{"muted", 4, 6, -35, 2.5},
		{"muted for more than a quarter", 1, 7, -35, 6.5},
	} {
		x := airtest.Noise(rand.New(rand.NewPCG(4, 4)), make([]float32, 15*airtest.Rate))
		by := float32(math.Pow(10, row.db/20))
		for i := int(row.from * airtest.Rate); i < int(row.to*airtest.Rate); i++ {
			x[i] *= by
		}
		before := slices.Clone(x)
		out, seconds := band.LeaveOut(x)
		if seconds != row.seconds || !slices.Equal(x, before) {
			t.Errorf("%s: %.2f s left out, want %.2f", row.name, seconds, row.seconds)
		}
		silenced := 0
		for i, v := range out {
			if v != x[i] {
				silenced++
				if s := float64(i) / airtest.Rate; v != 0 || s < row.from-0.25 || s >= row.to+0.25 {
					t.Fatalf("%s: at %.3f s %v became %v", row.name, s, x[i], v)
				}
			}
		}
		if got := float64(silenced) / airtest.Rate; math.Abs(got-row.seconds) > 0.01 {
			t.Errorf("%s: %.2f s are silenced, %.2f s told", row.name, got, seconds)
		}
	}
	short := make([]float32, 100)
	if out, s := band.LeaveOut(short); s != 0 || len(out) != 100 {
		t.Errorf("a part of a block: %.2f s", s)
	}
}
