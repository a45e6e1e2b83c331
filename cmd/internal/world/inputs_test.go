package world

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/gnsstest"
	"noonmark/rtc/rtctest"
)

// inputs plays a story with a perfect oscillator, so that the local timescale is UTC but for
// a constant, and calls f with each input and the UTC of a local instant.
func inputs(s Scenario, f func(w *World, in *station.Input, utc func(timescale.Local) timescale.UTC)) {
	s.Osc = Oscillator{}
	cfg := config()
	var w *World
	utc := func(l timescale.Local) timescale.UTC { return w.start.Add(l.Sub(timescale.Local(bootTime))) }
	cfg.Record = func(in *station.Input) {
		if w != nil {
			f(w, in, utc)
		}
	}
	w = New(s, cfg, 11)
	for w.Elapsed() < s.Length {
		w.Second()
	}
}

// What reaches the station is what its model says, by the truth of the world: edges of the
// hardware clock at its rate, the pulse at the second, marks as wrong as told, the board's
// temperature.
func TestInputsAreTrue(t *testing.T) {
	const ppm, late, noise = 40.0, 30 * time.Microsecond, 0.2
	s := Scenario{Receiver: gnsstest.Typical(), Place: camp, Length: 2 * time.Hour, RTC: rtctest.Model{PPM: ppm},
		Pulse: Pulse{Width: 100 * time.Millisecond, Jitter: time.Microsecond, Late: late}, Air: Air{OffC: -15, SwingC: 4},
		Thermometer: &Thermometer{OffC: 2, NoiseC: noise},
		Story: []Chapter{{Scene: open}, {From: 30 * time.Minute, Scene: open, Mark: &Mark{Error: 70 * time.Millisecond, Bound: time.Second}},
			{From: 40 * time.Minute, Scene: open, Mark: &Mark{Error: -2 * time.Second, Bound: time.Second, Borrowed: true}}}}
	var firstRTC struct{ off, at time.Duration }
	edges, pulses, marks, warmth := 0, 0, 0, 0
	inputs(s, func(w *World, in *station.Input, utc func(timescale.Local) timescale.UTC) {
		switch {
		case in.RTC != nil:
			off, at := in.RTC.Value.Sub(utc(in.RTC.Edge)), w.Elapsed()
			if edges++; edges == 2 { // the first is rough
				firstRTC.off, firstRTC.at = off, at
			} else if edges > 2 {
				if d := off - firstRTC.off - time.Duration(float64(at-firstRTC.at)*ppm*1e-6); d.Abs() > 2*in.RTC.Half+time.Duration(ppm*1e3) {
					t.Errorf("at %v the hardware clock's edge is %v off its rate", at, d)
				}
			}
		case in.Pulse != nil && in.Pulse.Edge == clockcheck.EdgeAssert:
			pulses++
			if d := time.Duration(utc(in.Pulse.At)) % time.Second; d < late-time.Microsecond || d > late+10*time.Microsecond {
				t.Errorf("a pulse %v after the second", d)
			}
		case in.Mark != nil && in.Mark.Borrowed:
			marks++
			if d := utc(in.Mark.At).Sub(in.Mark.UTC); d != -2*time.Second {
				t.Errorf("the borrowed clock is %v slow", d)
			}
		case in.Mark != nil:
			marks++
			if d := time.Duration(utc(in.Mark.At)) % time.Minute; (d - 70*time.Millisecond).Abs() > 10 {
				t.Errorf("a mark %v after the minute", d)
			}
		case in.Temperature != nil:
			warmth++
			if d := in.Temperature.C - 2 - s.Air.at(utc(in.Temperature.At)); math.Abs(d) > 5*noise {
				t.Errorf("the thermometer is %.2f °C off", d)
			}
		}
	})
	if edges < 15 || pulses < 7000 || marks != 2 || warmth < 119 {
		t.Errorf("%d edges, %d pulses, %d marks, %d temperatures", edges, pulses, marks, warmth)
	}
}
