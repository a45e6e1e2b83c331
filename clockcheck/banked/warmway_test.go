package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// A server that answers over a long link all along tells the oscillator's rate no better than its
// bound, so the thermometer goes on telling how it changes: into the cold, 25 °C at 0.4 ppm/°C.
func TestRoughAnswersDoNotSilenceTheThermometer(t *testing.T) {
	for name, side := range map[string]time.Duration{"learned": 1, "not learned": -1} {
		l := coldBoard()
		if name != "learned" {
			l.Temperature = nil
		}
		w := newWarmWorld(t, l)
		w.k = 0.4
		w.j.Network(&clockcheck.Network{Server: "close", At: w.local, UTC: w.utc, Bound: 5 * time.Millisecond})
		w.let(time.Hour, 20)
		w.world.mute = true
		for n := range 18 {
			w.j.Network(&clockcheck.Network{Server: "far", At: w.local, UTC: w.utc.Add(side * 150 * time.Millisecond), Bound: 160 * time.Millisecond})
			w.let(10*time.Minute, max(20-25*float64(n+1)/12, -5))
		}
		if e := math.Abs(w.got.Error - w.sys); name == "learned" && e > 0.04 { // 0.07 without
			t.Errorf("the estimate is %.3f s off, though the thermometer was learned", e)
		}
		w.honest()
	}
}
