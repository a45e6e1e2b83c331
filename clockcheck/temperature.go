package clockcheck

import (
	"noonmark/clockcheck/thermal"
	"noonmark/clockcheck/timescale"
)

// Temperature is one reading of a thermometer in or beside the computer.
type Temperature struct {
	At     timescale.Local
	C      float64 // °C
	Sensor string  // which one: what was learned by another does not count
	OfRTC  bool    // the hardware clock's chip has it
}

// LearnedTemperature is how the oscillator's rate changes with what one thermometer
// shows.
type LearnedTemperature struct {
	Sensor  string  `json:"sensor"`
	AtC     float64 `json:"at_c"` // °C, at which the kept rate holds
	PPMPerC float64 `json:"ppm_per_c"`
	Sigma   float64 `json:"sigma_ppm_per_c"` // 0 = not learned
	LoC     float64 `json:"lo_c"`            // it was learned from here
	HiC     float64 `json:"hi_c"`            // … to here
}

// Kept is what is kept of one thermometer, for thermal.New; of none of ours, nothing.
func (l *LearnedTemperature) Kept(sensor string) (k thermal.Kept) {
	if l == nil || l.Sensor == "" || l.Sensor != sensor {
		return k
	}
	k = thermal.Kept{Rate: true, AtC: l.AtC, PerC: l.PPMPerC * 1e-6, Sigma: l.Sigma * 1e-6, LoC: l.LoC, HiC: l.HiC}
	if !k.Sound() {
		return thermal.Kept{}
	}
	return k
}

// Keep is what is worth keeping of a thermometer; rate: the oscillator's rate is kept as it
// is now, and holds at the temperature of now.
func (l *LearnedTemperature) Keep(t *thermal.Thermometer, rate bool) *LearnedTemperature {
	old := l.Kept(t.Sensor)
	if !t.Have || !old.Rate && !rate {
		return l
	}
	out := &LearnedTemperature{Sensor: t.Sensor, AtC: t.C, LoC: t.C, HiC: t.C}
	if old.Rate && !rate {
		out.AtC = old.AtC
	}
	if k, ok := t.Keep(); ok {
		out.PPMPerC, out.Sigma, out.LoC, out.HiC = k.PerC*1e6, k.Sigma*1e6, k.LoC, k.HiC
	}
	return out
}

// Temperature takes one reading. One that no computer has, or that jumps, is refused.
func (j *Judge) Temperature(r *Temperature) {
	if !j.on(RuleTemperature) || !thermal.Sound(r.C) {
		return
	}
	w := &j.warm
	if r.Sensor != w.Sensor {
		*w = thermal.New(r.Sensor, j.learned.Temperature.Kept(r.Sensor))
	}
	w.OfRTC = r.OfRTC
	if y, v, ok := w.Take(r.At, r.C, j.live(r.At)); ok {
		j.turnRate(r.At, y, v)
	}
}

// learnSlope takes a reading of a reference: zr is UTC − local relative to the filter's base
// but for something that stands still (a latency), v its variance. A stream that ramps or
// is in doubt teaches nothing.
func (j *Judge) learnSlope(source string, zr, v float64) {
	if j.f.qD > qD || j.opposed() || j.doubtful() {
		return
	}
	j.warm.Learn(source, j.f.base, j.f.at, zr, v, thermal.Rate{Mean: j.f.v[sY], Variance: j.f.p[sY][sY]})
}

// live tells whether something tells the rate now.
func (j *Judge) live(at timescale.Local) bool {
	if !j.x.known {
		return false
	}
	switch j.basis(at) {
	case BasisPPS, BasisGNSS, BasisNetwork:
		return true
	}
	return false
}

// turnRate adds to the rate in every view of the oscillator there is: one that were
// left out would look led away by the others.
func (j *Judge) turnRate(at timescale.Local, y, variance float64) {
	if !j.x.known { // the states have no instant yet
		j.f.turn(y, variance)
		return
	}
	j.f.advance(at)
	j.f.turn(y, variance)
	if w := &j.watch; w.have {
		views := []*filter{&w.older, &w.newer}
		if w.looks {
			views = append(views, &w.lastNear)
		}
		for _, f := range views {
			f.advance(at)
			f.turn(y, variance)
		}
	}
	if l := &j.view; l.have {
		l.advance(at)
		l.f.turn(y, variance)
	}
}

// turn changes the rate by y, known to the variance.
func (f *filter) turn(y, variance float64) {
	f.v[sY] += y
	f.p[sY][sY] += variance
}
