package banked

import (
	"testing"
	"time"

	"noonmark/clockcheck"
)

// The rate was learned at home to half a ppm, and the camp is so cold that the crystal goes 25 ppm another way. The
// guard holds UTC in the first minutes of a pulse, and nobody who is right is outvoted by the kept rate.
func TestKeptRateInTheCold(t *testing.T) {
	w := newPulseWorld(t, clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 0.5}, clockcheck.EdgeAssert)
	w.ppm += 25
	for range 40 {
		w.server(20 * time.Millisecond)
		for range 60 {
			w.second()
			w.honest()
		}
	}
	for _, name := range []string{"gnss", "pps"} {
		if r := w.reference(name); r.Trust != clockcheck.Trusted {
			t.Errorf("%s is %s: %s", name, r.Trust, r.Because)
		}
	}
}
