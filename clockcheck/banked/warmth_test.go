package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/estimate"
)

// The kept rate holds at the temperature that was kept with it: −12 ppm at 20 °C and
// −0.4 ppm/°C make −4 ppm at 0 °C. Beside a server what is kept
// is of the temperature of now.
func TestKeptRateFollowsTheTemperature(t *testing.T) {
	w := newStation(t, clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 0.1, Temperature: &clockcheck.LearnedTemperature{Sensor: "board", AtC: 20,
		PPMPerC: -0.4, Sigma: 0.03, LoC: 0, HiC: 30}})
	rate := func() float64 { return w.j.bank.Best().F.V[estimate.Y] * 1e6 }
	warm := func(c float64) {
		w.now, w.utc = w.now.Add(time.Minute), w.utc.Add(time.Minute)
		w.j.Temperature(&clockcheck.Temperature{At: w.now, C: c, Sensor: "board"})
	}
	if warm(math.NaN()); rate() != -12 {
		t.Errorf("no temperature makes %.2f ppm", rate())
	}
	if warm(0); math.Abs(rate()+4) > 1e-6 {
		t.Errorf("the kept rate is %.2f ppm at 0 °C, want -4", rate())
	}
	sigma := w.j.bank.Best().F.Sigma(estimate.Y)
	for range 60 {
		warm(0)
	}
	if s := w.j.bank.Best().F.Sigma(estimate.Y); s < sigma {
		t.Errorf("a thermometer makes the rate surer: %.3g, was %.3g", s, sigma)
	}
	for range 30 {
		w.server("a", 0)
		warm(0)
	}
	if l := w.j.Learned().Temperature; l == nil || math.Abs(l.AtC) > 1 || math.Abs(l.PPMPerC+0.4) > 0.1 {
		t.Errorf("kept is %+v", l)
	}
}
