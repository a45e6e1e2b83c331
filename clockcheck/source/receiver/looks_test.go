package receiver

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// lateness is how late the bursts of a look were, s.
func lateness(l *Look) float64 {
	return float64(int64(timescale.UTCOf(time.Date(2031, 2, 3, 4, 0, 0, 0, time.UTC)))-l.Z) / 1e9
}

// twoPlaces is a receiver after n epochs whose bursts scatter by 10 ms, and come later by
// 0.196 s at a share of the epochs (a capture of a research ship's logger had 7 % so); told is
// shown how late each look was, s.
func twoPlaces(share float64, n int, seed uint64, told func(late float64)) Receiver {
	rng := rand.New(rand.NewPCG(seed, 7))
	r := Opened(clockcheck.Serial)
	for k := range n {
		late := 0.2 + 0.010*rng.NormFloat64()
		if rng.Float64() < share {
			late += 0.196
		}
		if l, ok := r.Take(epoch(k, time.Duration(late*1e9)), floor, nobody); ok {
			told(lateness(&l))
		}
	}
	return r
}

// Looks at a stream of two places are all of the more frequent one, whatever chance brings in
// a row.
func TestTwoPlaces(t *testing.T) {
	for _, share := range []float64{0.02, 0.07, 0.2} {
		for seed := range uint64(5) {
			n, odd := 0, 0
			twoPlaces(share, 12*3600, seed, func(late float64) {
				if n++; n > 12 && math.Abs(late-0.2) > 0.05 { // after two minutes
					odd++
				}
			})
			if n < 3000 || odd > 1 { // 0.05 a night by design
				t.Errorf("%.0f %% strays: %d of %d looks are of the other place", 100*share, odd, n)
			}
		}
	}
}

// A stream that moves is followed after three epochs, and where there are strays after as many
// as chance does not bring.
func TestMoveAmongStrays(t *testing.T) {
	for _, tt := range []struct {
		share       float64
		least, most int
	}{{0, runLeast, runLeast}, {0.07, 5, 7}, {0.4, 13, inARowMost}} {
		r := twoPlaces(tt.share, 1800, 3, func(float64) {})
		after := 0
		for k := range 40 {
			if l, ok := r.Take(epoch(1800+k, 700*time.Millisecond), floor, nobody); ok && lateness(&l) > 0.65 {
				after = k + 1
				break
			}
		}
		if after < tt.least || after > tt.most {
			t.Errorf("%.0f %% strays: a move is followed after %d epochs, want %d to %d", 100*tt.share, after, tt.least, tt.most)
		}
	}
}
