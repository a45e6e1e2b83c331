package band_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/air/airtest"
	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/crowd"
)

// TestCutPeriod: the sound begins somewhere in a period, so that the first arrays of many signals are cut off.
// What is left of them looks like a signal one array later: no crowd is made of these, neither in a period's
// sound nor in the long one that is listened to live.
func TestCutPeriod(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	m := mode(t, "FT8")
	r := rand.New(rand.NewPCG(6, 6))
	for _, begin := range []float64{-3.5, -1.2} {
		for _, lasts := range []float64{15, 28.6} {
			var all []airtest.Sender
			for i := range 14 {
				s := airtest.Sender{BeginS: begin, FreqHz: 300 + 180*float64(i), SNRdB: -5}
				if i%5 == 4 { // a few send in the next period
					s.BeginS += 15
				}
				all = append(all, s)
			}
			x := airtest.Band(r, m, airtest.Moderate, all, lasts)
			plain := band.Distinct(band.FindWhole(x, m), m)
			off := 0
			for _, s := range plain {
				if d := math.Remainder(s.BeginS-begin, 15); math.Abs(d) > 0.1 {
					off++
				}
			}
			if off > 2 {
				t.Errorf("begin %.1f s, %.1f s long: %d of %d are an array off", begin, lasts, off, len(plain))
			}
			c, err := crowd.Of(band.Offsets(plain, m), 15)
			if d := math.Remainder(c.OffsetS+0.5-begin, 15); err == nil && math.Abs(d) > c.BoundS {
				t.Errorf("begin %.1f s, %.1f s long: a crowd %.2f s off: %+v", begin, lasts, d, c)
			}
		}
	}
}
