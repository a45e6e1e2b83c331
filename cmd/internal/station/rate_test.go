package station

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
)

// TestRateIsTheOscillators: while the clock is turned back at 500 ppm the rate published is
// still the oscillator's, and its bound holds; what the clock does at present stands apart.
func TestRateIsTheOscillators(t *testing.T) {
	const oscillator, slewing = 12e-6, -500e-6
	s := newSim(t, 10)
	at := begin
	local, system := 1e9, float64(begin)
	for i := range 3 * 3600 {
		local += 1e9 * (1 + oscillator)
		at = at.Add(time.Second)
		if system += 1e9 * (1 + oscillator); i > 2*3600 {
			system += 1e9 * slewing
		}
		if i%64 == 0 {
			s.Network(netref.Reading{Server: "192.0.2.1", At: timescale.Local(local), UTC: at, Bound: 10 * time.Millisecond})
		}
		s.snap = s.Tick(Tick{Local: timescale.Local(local), System: timescale.UTC(system), BoottimeS: local / 1e9})
	}
	c := s.snap.Clock
	if d := math.Abs(c.RatePPM.V - oscillator*1e6); d > c.RateBoundPPM.V || c.RateBoundPPM.V > 5 {
		t.Errorf("the oscillator gains 12 ppm, published %+.1f ± %.1f", c.RatePPM.V, c.RateBoundPPM.V)
	}
	if want := (oscillator + slewing) * 1e6; math.Abs(c.ClockRatePPM.V-want) > 5 {
		t.Errorf("the clock gains %+.0f ppm at present, published %+.1f", want, c.ClockRatePPM.V)
	}
	if s.snap.Modes[0].Verdict == string(clockcheck.Unknown) {
		t.Error("nothing judged")
	}
}
