package banked

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// The thermometer. A crystal's rate changes by 0.1 to 1 ppm/K about room temperature
// (fault budget, crystals). Here it only widens: while no reference tells the rate, its
// variance grows with the square of what the temperature has changed by since.
const (
	leastC, mostC = -60, 100
	tempco        = 0.3e-6 // 1/K, 1σ
	// ramp: variance that is added step by step to the rate makes a 1.5 times smaller one
	// of the time (t⁴/6 in place of t⁴/4 of the square of a steady change).
	ramp    = 1.5
	settles = 10 * time.Minute // a crystal follows a thermometer of the same board so fast
	// A plain tuning fork is slower by 0.034 ppm/K² away from 25 °C (NXP UM10301).
	forkCurve, forkTurn = -0.034e-6, 25
)

// warmth is what the thermometer shows.
type warmth struct {
	sensor string
	have   bool
	heard  timescale.Local
	raw, c float64 // °C: as shown, and smoothed
	ref    float64 // °C when a reference last told the rate
	added  float64 // variance added since
}

// Temperature takes one reading of a thermometer in or beside the computer.
func (j *Judge) Temperature(r *clockcheck.Temperature) {
	if !(r.C >= leastC && r.C <= mostC) {
		return
	}
	w := &j.warm
	if r.Sensor != w.sensor || !w.have {
		*w = warmth{sensor: r.Sensor, have: true, c: r.C, ref: r.C, heard: r.At}
		if l := j.learned.Temperature; l != nil && l.Sensor == r.Sensor && !(math.Abs(l.AtC-r.C) > mostC) {
			w.ref = l.AtC
		}
	}
	w.c += (r.C - w.c) * (1 - math.Exp(-r.At.Sub(w.heard).Seconds()/settles.Seconds()))
	w.raw, w.heard = r.C, r.At
	if told := j.bank.Told(); told != 0 && r.At.Sub(told) < settles {
		w.ref, w.added = w.c, 0
		return
	}
	v := ramp * math.Pow(tempco*(w.c-w.ref), 2)
	if v > w.added {
		j.bank.Turn(r.At, 0, v-w.added)
		w.added = v
	}
}

// turned is by how much a plain hardware clock's rate has changed between the temperature
// at which it was last compared and that of now, s/s.
func (w *warmth) turned(l *clockcheck.LearnedRTC, compensated bool) float64 {
	if !w.have || compensated || l == nil || l.Sensor == "" || l.Sensor != w.sensor || !(l.TempC >= leastC && l.TempC <= mostC) {
		return 0
	}
	return math.Abs(forkCurve * (math.Pow(w.c-forkTurn, 2) - math.Pow(l.TempC-forkTurn, 2)))
}

func (w *warmth) say() clockcheck.Warmth {
	if !w.have {
		return clockcheck.Warmth{}
	}
	return clockcheck.Warmth{Sensor: w.sensor, C: w.raw, Because: "While no reference tells the rate, a change of temperature widens the worst case."}
}
