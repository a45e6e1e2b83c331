package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// The computer's temperature. A crystal's rate changes by 0.1 to 1 ppm/°C about room
// temperature (AT-cut crystals of small computers; planning figures, from memory of
// their makers' sheets), so a thermometer tells, while no reference does, that the
// rate moved. How much it moves is learned (slope.go). It makes the estimate better,
// and the guard wider where the change is not explained; the oscillator's noise of
// the filter stays as it is, so that a thermometer never makes the guard narrower.
const (
	leastC = -60 // °C: no small computer runs beyond
	mostC  = 100
	// jumpC: neither a board nor its crystal changes faster; what jumps is the sensor
	// or the processor's load. °C at once, and °C a minute besides.
	jumpC, jumpRate = 10, 2
	jumpStays       = 3 // readings in a row that agree are no slip
	// warmSettles: a crystal follows a thermometer of the same board within minutes
	// (common practice, no source); a processor's own goes up and down with its load.
	warmSettles = 10 * time.Minute
	// slopeUnlearned is what the rate does while nothing is learned, 1σ: the middle of
	// the range above. slopeLeast and slopeShare: a learned one is never known better,
	// for a cubic is not straight and a thermometer is not the crystal.
	slopeUnlearned = 0.3e-6 // 1/°C
	slopeMost      = 1e-6
	slopeLeast     = 0.02e-6
	slopeShare     = 0.25
	// rampShare: the error of a slope is there all along while the temperature goes on
	// changing. Variance that is added step by step to the rate makes a 1.5 times
	// smaller one of x (t⁴/6 in place of t⁴/4 of the square of a steady change).
	rampShare = 1.5
	// learnedSpan: the slope is taken to go on so far beyond where it was learned, °C.
	learnedSpan = 2
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

// sound tells whether a kept value can be one of ours.
func (l *LearnedTemperature) sound() bool {
	in := func(v, lo, hi float64) bool { return v >= lo && v <= hi } // false for NaN
	return l.Sensor != "" && in(l.AtC, leastC, mostC) && in(l.PPMPerC, -slopeMost*1e6, slopeMost*1e6) &&
		in(l.Sigma, 0, slopeMost*1e6) && in(l.LoC, leastC, l.HiC) && in(l.HiC, leastC, mostC)
}

// warmth is what the thermometer shows and what was made of it.
type warmth struct {
	sensor string
	have   bool
	ofRTC  bool
	heard  timescale.Local
	raw    float64 // °C as last shown
	c      float64 // °C, smoothed: the crystal's
	slow   float64 // °C, over hours
	rough  rough
	odd    float64 // °C, shown lately and refused
	odds   int
	// Since a reference last told the rate: the temperature then, and what has been
	// added to the rate and to its variance for the change since.
	ref, slowRef, fed, added float64
	slope                    slope
}

// Temperature takes one reading. One that no computer has, or that jumps, is refused.
func (j *Judge) Temperature(r *Temperature) {
	if !j.on(RuleTemperature) || !(r.C >= leastC && r.C <= mostC) {
		return
	}
	w := &j.warm
	if r.Sensor != w.sensor {
		*w = warmth{sensor: r.Sensor, slope: newSlope(j.keptWarmth(r.Sensor))}
	}
	if w.have && r.At < w.heard || !w.plausible(r) {
		return
	}
	if !w.have {
		w.have, w.c, w.slow, w.ref, w.slowRef = true, r.C, r.C, r.C, r.C
		if l := j.keptWarmth(r.Sensor); l != nil && !j.live(r.At) {
			w.ref, w.slowRef = l.AtC, l.AtC // at which the rate was kept
		}
	} else {
		dt := r.At.Sub(w.heard).Seconds()
		w.c, w.slow = follow(w.c, r.C, dt, warmSettles), follow(w.slow, r.C, dt, slowlySettles)
	}
	w.rough.take(r.At, w.c)
	w.raw, w.heard, w.ofRTC = r.C, r.At, r.OfRTC
	if j.live(r.At) {
		w.ref, w.slowRef, w.fed, w.added = w.c, w.slow, 0, 0
		return
	}
	y, v := w.change()
	j.turnRate(r.At, y-w.fed, math.Max(v-w.added, 0))
	w.fed, w.added = y, math.Max(v, w.added)
}

// restart: the rate is again as it was kept, at the temperature that was kept with it.
func (w *warmth) restart() {
	w.have, w.fed, w.added = false, 0, 0
	w.slope.parted()
}

// plausible refuses a jump. Where it stays, the sensor is taken up anew, and the change
// is not held for one of the crystal's.
func (w *warmth) plausible(r *Temperature) bool {
	if !w.have || math.Abs(r.C-w.raw) <= jumpC+jumpRate*r.At.Sub(w.heard).Minutes() {
		w.odds = 0
		return true
	}
	if w.odds > 0 && math.Abs(r.C-w.odd) > jumpC/2 {
		w.odds = 0
	}
	w.odd = r.C
	if w.odds++; w.odds < jumpStays {
		return false
	}
	w.c, w.slow, w.raw, w.heard, w.odds = r.C, r.C, r.C, r.At, 0
	w.ref, w.slowRef, w.fed, w.added = r.C, r.C, 0, 0
	w.slope.parted()
	return false
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

// change is by how much the rate has changed since a reference last told it, and the
// variance of that.
func (w *warmth) change() (y, variance float64) {
	if w.rough.restless() {
		return 0, rampShare * sq(slopeUnlearned*(w.slow-w.slowRef))
	}
	k, sigma, ok := w.slope.learned()
	if !ok {
		return 0, rampShare * sq(w.slope.spread()*(w.c-w.ref))
	}
	clamp := func(c float64) float64 { return math.Min(math.Max(c, w.slope.lo-learnedSpan), w.slope.hi+learnedSpan) }
	told := clamp(w.c) - clamp(w.ref)
	beyond := w.c - w.ref - told
	return k * told, rampShare * (sq(sigma*told) + sq(slopeUnlearned*beyond))
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

// keptWarmth is what an earlier run learned by this sensor; nil = nothing.
func (j *Judge) keptWarmth(sensor string) *LearnedTemperature {
	if l := j.learned.Temperature; l != nil && l.Sensor == sensor && l.sound() {
		return l
	}
	return nil
}

// learnedWarmth is what is worth keeping. rate: the rate is kept as it is now.
func (j *Judge) learnedWarmth(rate bool) *LearnedTemperature {
	w := &j.warm
	old := j.keptWarmth(w.sensor)
	if !w.have || old == nil && !rate {
		return j.learned.Temperature
	}
	l := &LearnedTemperature{Sensor: w.sensor, AtC: w.c, LoC: w.c, HiC: w.c}
	if old != nil && !rate {
		l.AtC = old.AtC
	}
	w.slope.keep(l)
	return l
}
