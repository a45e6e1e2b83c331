package banked

import (
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/explain"
	"noonmark/clockcheck/thermal"
	"noonmark/clockcheck/timescale"
)

// What the thermometer tells (package thermal): beside a source of UTC how the rate changes
// with the temperature is learned; while none tells the rate, all tracks follow it.

// toldLately: a source that told UTC so lately tells the rate. What the crystal did since, its
// thermometer does not show sooner (thermal: a crystal follows in ten minutes).
const toldLately = thermal.BlockLasts

// Temperature takes one reading of a thermometer in or beside the computer.
func (j *Judge) Temperature(r *clockcheck.Temperature) {
	if !thermal.Sound(r.C) {
		return
	}
	w := &j.warm
	if r.Sensor != w.Sensor {
		*w = thermal.New(r.Sensor, j.learned.Temperature.Kept(r.Sensor))
	}
	w.OfRTC = r.OfRTC
	if y, v, ok := w.Take(r.At, r.C, j.rateTold(r.At)); ok {
		j.bank.Turn(r.At, y, v)
	}
}

// rateTold tells whether somebody tells the oscillator's rate now. Servers, marks and the air do
// not, however often they speak: in ten minutes the thermometer sees more of it.
func (j *Judge) rateTold(now timescale.Local) bool {
	told := j.bank.Rated()
	return told != 0 && now.Sub(told) < toldLately
}

// learnRate lets the thermometer learn from a reading that the best track heard, while nobody
// is in doubt and no lateness goes away: of those who speak, the best one.
func (j *Judge) learnRate(r *bank.Reading) {
	t := j.bank.Best()
	if !j.warm.Have || !t.Located || !t.On.Has(r.Source) || t.Assumes(bank.LatenessWanders) || j.bank.Doubted() != 0 {
		return
	}
	pulse, stream := j.pulse.Fresh(r.At) && t.On.Has(bank.Pulse), t.On.Has(bank.Receiver) && r.At.Sub(j.rx.Valid) < fresh && j.rx.Valid != 0
	if pulse && r.Source != bank.Pulse || stream && r.Source >= bank.Server {
		return
	}
	f := &t.F
	j.warm.Learn(explain.Source(r.Source), f.Base, r.At, float64(r.Z-f.Base)/1e9-float64(t.Lead), math.Max(r.Var, sq(r.Common/2)),
		thermal.Rate{Mean: f.V[estimate.Y], Variance: f.P[estimate.Y][estimate.Y]})
}

// turned is by how much a plain hardware clock's rate has changed between the temperature
// at which it was last compared and that of now, s/s. A chip that has a thermometer of its
// own has it to compensate itself.
func (j *Judge) turned() float64 {
	w, l := &j.warm, j.learned.RTC
	if !w.Have || w.OfRTC || j.cfg.RTCCompensated || l == nil || l.Sensor == "" || l.Sensor != w.Sensor || !thermal.Sound(l.TempC) {
		return 0
	}
	return thermal.ForkTurned(l.TempC, w.C)
}

func sq(v float64) float64 { return v * v }
