package main

import (
	"math/rand/v2"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/world"
	"noonmark/status"
)

// virtual is a simulated station.
type virtual struct{ w *world.World }

// newVirtual: the stories of the demo in turn, each with an oscillator, a seed and an age
// of its own.
func newVirtual(n int) *virtual {
	draw := rand.New(rand.NewPCG(uint64(n), 0x666c656574))
	all := world.Scenarios()
	s := all[n%len(all)]
	s.Osc.PPM, s.Place.LatDeg, s.Place.LonDeg = draw.NormFloat64()*15, -20+draw.NormFloat64(), -67+draw.NormFloat64()
	var modes []clockcheck.Mode
	for _, name := range []string{"FT8", "FT4", "JS8-15", "WSPR"} { // as a new station shows
		if m, err := clockcheck.ModeNamed(name); err == nil {
			modes = append(modes, m)
		}
	}
	floor := timescale.UTCOf(time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC))
	cfg := station.Config{Judge: clockcheck.Config{Floor: floor, Modes: modes, RTCCompensated: true}, BuildDate: floor, Live: true, LocatorLength: 10}
	v := &virtual{world.New(s, cfg, uint64(n))}
	for range draw.IntN(1800) {
		v.w.Second()
	}
	return v
}

// play lets so much time pass; the status at its end.
func (v *virtual) play(d time.Duration) (snap *status.Snapshot) {
	for range max(1, int(d/time.Second)) {
		snap = v.w.Second()
	}
	return snap
}
