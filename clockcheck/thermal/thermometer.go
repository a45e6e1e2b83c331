// Package thermal is what a thermometer in or beside the computer tells of its oscillator.
//
// A crystal's rate changes by 0.1 to 1 ppm/°C about room temperature (AT-cut crystals of
// small computers; planning figures, from memory of their makers' sheets), so that a
// thermometer tells, while no reference does, that the rate moved. How much it moves is
// learned beside a reference (slope.go). It makes the estimate better, and the guard wider
// where the change is not explained; the oscillator's noise of the filter stays as it is,
// so that a thermometer never makes the guard narrower.
//
// A value machine, for one goroutine at a time; it allocates nothing.
package thermal

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

const (
	// °C: industrial parts run from −40 to 85 (makers' data sheets), and 15 to 20 more.
	leastC, mostC = -60, 100
	// jumpC: neither a board nor its crystal changes faster; what jumps is the sensor
	// or the processor's load. °C at once, and °C a minute besides (assumption: a tent of +20 °C
	// left for −40 °C within half an hour).
	jumpC, jumpRate = 10, 2
	jumpStays       = 3 // readings in a row that agree are no slip (assumption: two slips are never alike)
	// settles: a crystal follows a thermometer of the same board within minutes
	// (common practice, no source); a processor's own goes up and down with its load.
	settles = 10 * time.Minute
	// unlearned is what the rate does while nothing is learned, 1σ, 1/°C: the middle of 0.1 to 1
	// ppm/°C (Lux, Camp 2015), √(0.1 · 1) = 0.3; steepest is the end of that.
	unlearned = 0.3e-6
	steepest  = 1e-6 // of the range from 0.1 to 1 ppm/°C measured by Lux and Camp 2015
	// sureLeast, 1/°C, and sureShare: a learned one is never known better, for a cubic is not
	// straight and a thermometer is not the crystal (assumption: a fifth of the least slope, a
	// quarter of this one).
	sureLeast = 0.02e-6
	sureShare = 0.25 // (assumption)
	// rampShare: the error of a slope is there all along while the temperature goes on
	// changing. Variance that is added step by step to the rate makes a 1.5 times
	// smaller one of x (t⁴/6 in place of t⁴/4 of the square of a steady change): 6/4.
	rampShare = 1.5
	// learnedSpan: the slope is taken to go on so far beyond where it was learned, °C
	// (assumption: less than slopeSpan).
	learnedSpan = 2
	// A plain tuning fork is slower by 0.034 ppm/°C² away from 25 °C (NXP UM10301).
	forkCurve, forkTurn = -0.034e-6, 25
)

// Sound tells whether a small computer can have the temperature c, °C.
func Sound(c float64) bool { return c >= leastC && c <= mostC }

// ForkTurned is by how much the rate of a plain tuning fork changes from one temperature
// to another, at least 0, s/s.
func ForkTurned(from, to float64) float64 {
	return math.Abs(forkCurve * (sq(to-forkTurn) - sq(from-forkTurn)))
}

// Kept is what an earlier run learned.
type Kept struct {
	Rate        bool    // the oscillator's rate was kept,
	AtC         float64 // … and holds at so many °C
	PerC, Sigma float64 // 1/°C; σ 0 = not learned
	LoC, HiC    float64 // °C from which to which
}

// Sound tells whether what is kept can be ours.
func (k Kept) Sound() bool {
	in := func(v, lo, hi float64) bool { return v >= lo && v <= hi } // false for NaN
	return in(k.AtC, leastC, mostC) && in(k.PerC, -steepest, steepest) && in(k.Sigma, 0, steepest) && in(k.LoC, leastC, k.HiC) && in(k.HiC, leastC, mostC)
}

// Rate is the oscillator's as the estimate has it, s/s.
type Rate struct{ Mean, Variance float64 }

// Thermometer is what one shows and what was made of it. The zero value is none.
type Thermometer struct {
	Sensor string
	OfRTC  bool // the hardware clock's chip has it
	Have   bool
	Heard  timescale.Local
	Raw    float64 // °C as last shown
	C      float64 // °C, smoothed: the crystal's
	slow   float64 // °C, over hours
	rough  rough
	odd    float64 // °C, shown lately and refused
	odds   int
	// Since a reference last told the rate: the temperature then, and what has been
	// added to the rate and to its variance for the change since.
	ref, slowRef, fed, added float64
	slope                    slope
	kept                     Kept
}

// New is a thermometer of which an earlier run kept k.
func New(sensor string, k Kept) Thermometer {
	return Thermometer{Sensor: sensor, slope: newSlope(k), kept: k}
}

// Take takes a sound reading, in °C. told: a reference tells the rate now. It returns by
// how much the rate is to be turned, s/s, and the variance of that; false where the
// reading is refused or a reference tells the rate.
func (w *Thermometer) Take(at timescale.Local, c float64, told bool) (y, variance float64, ok bool) {
	if w.Have && at < w.Heard || !w.plausible(at, c) {
		return 0, 0, false
	}
	if !w.Have {
		w.Have, w.C, w.slow, w.ref, w.slowRef = true, c, c, c, c
		if w.kept.Rate && !told {
			w.from(w.kept.AtC)
		}
	} else {
		dt := at.Sub(w.Heard).Seconds()
		w.C, w.slow = follow(w.C, c, dt, settles), follow(w.slow, c, dt, slowlySettles)
	}
	w.rough.take(at, w.C)
	w.Raw, w.Heard = c, at
	if told {
		w.ref, w.slowRef, w.fed, w.added = w.C, w.slow, 0, 0
		return 0, 0, false
	}
	to, v := w.change()
	y, variance = to-w.fed, math.Max(v-w.added, 0)
	w.fed, w.added = to, math.Max(v, w.added)
	return y, variance, true
}

// from says that the rate is that of another temperature, °C.
func (w *Thermometer) from(c float64) { w.ref, w.slowRef = c, c }

// Restart says that the rate is again as it was kept.
func (w *Thermometer) Restart(k Kept) {
	w.Have, w.fed, w.added, w.kept = false, 0, 0, k
	w.slope.parted()
}

// plausible refuses a jump. Where it stays, the sensor is taken up anew, and the change
// is not held for one of the crystal's.
func (w *Thermometer) plausible(at timescale.Local, c float64) bool {
	if !w.Have || math.Abs(c-w.Raw) <= jumpC+jumpRate*at.Sub(w.Heard).Minutes() {
		w.odds = 0
		return true
	}
	if w.odds > 0 && math.Abs(c-w.odd) > jumpC/2 {
		w.odds = 0
	}
	w.odd = c
	if w.odds++; w.odds < jumpStays {
		return false
	}
	w.C, w.slow, w.Raw, w.Heard, w.odds = c, c, c, at, 0
	w.from(c)
	w.fed, w.added = 0, 0
	w.slope.parted()
	return false
}

// change is by how much the rate has changed since a reference last told it, and the
// variance of that.
func (w *Thermometer) change() (y, variance float64) {
	if w.Restless() {
		return 0, rampShare * sq(unlearned*(w.slow-w.slowRef))
	}
	k, sigma, ok := w.slope.learned()
	if !ok {
		return 0, rampShare * sq(w.slope.spread()*(w.C-w.ref))
	}
	clamp := func(c float64) float64 { return math.Min(math.Max(c, w.slope.lo-learnedSpan), w.slope.hi+learnedSpan) }
	told := clamp(w.C) - clamp(w.ref)
	beyond := w.C - w.ref - told
	return k * told, rampShare * (sq(sigma*told) + sq(unlearned*beyond))
}

// Learn lets the slope learn from a reading of a reference: z is UTC − local, s, relative
// to base, but for something that stands still (a latency), v its variance; the rate is
// known as y.
func (w *Thermometer) Learn(source string, base int64, at timescale.Local, z, v float64, y Rate) {
	if !w.Have || at.Sub(w.Heard) > BlockLasts || at < w.Heard || !w.rough.settled() || w.Restless() {
		return // no temperature that tells
	}
	w.slope.feed(source, base, at, z, v, w.C, y)
}

// Learned is the slope, 1/°C, with its σ; false while it is not known.
func (w *Thermometer) Learned() (k, sigma float64, ok bool) { return w.slope.learned() }

// Keep is the slope, if it is worth keeping.
func (w *Thermometer) Keep() (Kept, bool) { return w.slope.keep() }

// Restless tells whether it shows the processor's work more than the board's temperature.
func (w *Thermometer) Restless() bool { return w.rough.restless() }

// Since is by how much it is warmer than when a reference last told the rate, °C, and by
// how much the rate was turned for that, s/s.
func (w *Thermometer) Since() (warmer, turned float64) { return w.C - w.ref, w.fed }
