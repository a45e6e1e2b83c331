package world

import (
	"math"
	"math/rand/v2"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// thermometer is the state of one. Its noise is drawn by a generator of its own: a
// world with it is otherwise the same as without.
type thermometer struct {
	rng  *rand.Rand
	at   timescale.UTC // up to when it followed the air; 0 = not yet
	c    float64       // °C of the board but for the computer's own warmth
	next timescale.UTC // reading
	busy bool
	turn timescale.UTC // when the processor's work begins or ends
}

// warm lets the sensor be read once a minute, as the service does.
func (w *World) warm() {
	m, t := w.s.Thermometer, &w.thermometer
	if m == nil || w.utc < t.next {
		return
	}
	t.next = w.utc.Add(time.Minute)
	w.Station.Temperature(clockcheck.Temperature{At: w.local, C: w.shown(m), Sensor: "simulated thermometer"})
}

// shown is what the sensor shows now.
func (w *World) shown(m *Thermometer) float64 {
	t := &w.thermometer
	air := w.airAt(w.utc)
	if t.at == 0 || m.Lag == 0 {
		t.c = air
	} else {
		t.c += (air - t.c) * (1 - math.Exp(-w.utc.Sub(t.at).Seconds()/m.Lag.Seconds()))
	}
	t.at = w.utc
	if m.LoadC != 0 && w.utc >= t.turn {
		t.busy, t.turn = !t.busy, w.utc.Add(time.Duration(t.rng.ExpFloat64()*float64(time.Hour)))
	}
	c := t.c + m.OffC + m.NoiseC*t.rng.NormFloat64()
	if m.HeatOver > 0 {
		c += m.HeatC * (1 - math.Exp(-w.utc.Sub(w.powered).Seconds()/m.HeatOver.Seconds()))
	} else {
		c += m.HeatC
	}
	if t.busy {
		c += m.LoadC
	}
	if m.StepC > 0 {
		c = math.Round(c/m.StepC) * m.StepC
	}
	return c
}
