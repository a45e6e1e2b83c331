package world

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// Oscillator is the computer's.
type Oscillator struct {
	PPM       float64 // gains so much on UTC at 25 °C at the start
	WanderPPM float64 // random walk of the rate, sd after an hour
	NoisePPM  float64 // white frequency noise, sd over a second
	TempPPM   float64 // per °C
	AgeingPPM float64 // per day
	// CurvePPM per °C² about 25 °C: −0.034 for a tuning fork (NXP UM10301 section 9).
	CurvePPM float64
	// CubicPPM per °C³ about 25 °C: some 1e-4 for AT-cut crystals (from memory).
	CubicPPM float64
}

// Transmitter warms the crystal and pulls its supply while the station is on the air.
type Transmitter struct {
	HeatC   float64       // of the crystal, in the end; "several degrees", tens of Hz in 15 min (one station's report, 2013)
	Over    time.Duration // … as an exponential
	PushPPM float64       // at once, while it sends: 0.1 ppm for 5 % of the supply (usual data sheet figure)
	On, Off time.Duration // mean lengths of the turns, each drawn exponentially
}

// duty is the state of the transmitter.
type duty struct {
	sends bool
	turn  timescale.UTC // when the present turn ends
	heat  float64       // °C of the crystal
}

// transmit lets the transmitter go on for d, up to now.
func (w *World) transmit(d time.Duration) {
	t, u := w.s.Transmitter, &w.duty
	if t == nil {
		return
	}
	for w.utc >= u.turn {
		u.sends = !u.sends
		mean := t.Off
		if u.sends {
			mean = t.On
		}
		u.turn = max(u.turn, w.utc).Add(time.Second + time.Duration(w.odd.ExpFloat64()*float64(mean)))
	}
	goal := 0.0
	if u.sends {
		goal = t.HeatC
	}
	u.heat += (goal - u.heat) * (1 - math.Exp(-d.Seconds()/t.Over.Seconds()))
}

// rate is what the oscillator gains on UTC now but for white noise, ppm.
func (w *World) rate() float64 {
	o := &w.s.Osc
	dt := w.airAt(w.utc) + w.duty.heat - 25
	ppm := o.PPM + w.walkPPM + o.TempPPM*dt + o.AgeingPPM*w.Elapsed().Hours()/24
	if w.duty.sends {
		ppm += w.s.Transmitter.PushPPM
	}
	return ppm + w.jumped + o.CurvePPM*dt*dt + o.CubicPPM*dt*dt*dt
}

// Air is the temperature around computer and hardware clock: a daily wave,
// coldest at 10:00 UTC (dawn, where the camp is). The zero value is 25 °C always.
type Air struct {
	OffC   float64 // mean − 25 °C
	SwingC float64 // half of the difference of day and night
}

func (a Air) at(t timescale.UTC) float64 {
	day := 24 * time.Hour
	phase := float64((time.Duration(t)-10*time.Hour)%day) / float64(day)
	return 25 + a.OffC - a.SwingC*math.Cos(2*math.Pi*phase)
}

// airAt is the temperature around the computer at an instant, °C: the air's, with what the
// story adds.
func (w *World) airAt(t timescale.UTC) float64 {
	return w.s.Air.at(t) + w.room.at(t) + w.sun.at(t)
}

// move is a change of temperature: from one offset to another, as an exponential.
type move struct {
	begin    timescale.UTC
	from, to float64 // °C
	over     time.Duration
}

// moves are those of a story, in the order of time.
type moves []move

// at is the offset at an instant, °C.
func (m moves) at(t timescale.UTC) float64 {
	for i := len(m) - 1; i >= 0; i-- {
		if v := &m[i]; t >= v.begin {
			return v.to + (v.from-v.to)*math.Exp(-t.Sub(v.begin).Seconds()/v.over.Seconds())
		}
	}
	return 0
}

// add lets the offset go to a value from now on.
func (m *moves) add(now timescale.UTC, to float64, over time.Duration) {
	*m = append(*m, move{now, m.at(now), to, max(over, time.Second)})
}
