// Package estimate is one Kalman filter over what a station does not know of time:
// UTC − local timescale, its rate, how late a receiver's sentences arrive, and the
// offset and rate of the hardware clock. Measurements come in, mean and covariance
// go out. It knows no source and no assumption: whoever calls it has decided that a
// measurement is to count, and with which noise.
//
// A Filter is a plain value: copying it copies the estimate. It is used by one
// goroutine at a time. Method: Kalman 1960; the clock model is the two-state one of
// Zucca and Tavella (Metrologia 42, 2005).
package estimate

import (
	"math"

	"noonmark/clockcheck/timescale"
)

// The states, all seconds or seconds a second.
const (
	X   = iota // UTC − local timescale − Base, s
	Y          // rate of X, s per local second
	D          // lateness of the receiver's sentences, s
	R          // hardware clock − UTC − ClockBase, s
	S          // rate of R, s/s
	Num        // how many
)

// Noise is how the states wander between measurements.
type Noise struct {
	X float64 // s²/s: white noise of the oscillator's rate
	Y float64 // 1/s: random walk of the oscillator's rate
	D float64 // s²/s: random walk of the lateness
	R float64 // s²/s: white noise of the hardware clock's rate
	S float64 // 1/s: random walk of the hardware clock's rate
}

// Filter holds mean V and covariance P of the states at the instant At.
type Filter struct {
	V         [Num]float64
	P         [Num][Num]float64
	C         [Num]float64 // covariance of the states with the shared error of MeasureShared, as a part of its σ
	At        timescale.Local
	Base      int64 // ns: UTC − local = Base + X
	ClockBase int64 // ns: hardware clock − UTC = ClockBase + R
	Noise     Noise
}

// Sight is which sum of states a measurement sees: X + D·V[D] + R·V[R].
type Sight struct{ D, R float64 }

// What can be seen.
var (
	Time   = Sight{}      // UTC itself
	Stream = Sight{D: -1} // a receiver's sentences: UTC less their lateness
	Clock  = Sight{R: 1}  // the hardware clock
)

// Advance lets time pass until now. An instant before the filter's own changes nothing.
func (f *Filter) Advance(now timescale.Local) {
	t := float64(now-f.At) / 1e9
	if t <= 0 {
		return
	}
	f.At = now
	f.V[X] += f.V[Y] * t
	f.V[R] += f.V[S] * t
	f.shear(X, Y, t)
	f.shear(R, S, t)
	n := &f.Noise
	f.wander(X, Y, t, n.X, n.Y)
	f.wander(R, S, t, n.R, n.S)
	f.P[D][D] += n.D * t
}

// shear applies a += b·t to the covariance.
func (f *Filter) shear(a, b int, t float64) {
	f.C[a] += f.C[b] * t
	for i := range f.P {
		f.P[a][i] += f.P[b][i] * t
	}
	for i := range f.P {
		f.P[i][a] += f.P[i][b] * t
	}
}

// wander adds the two-state clock's noise: q1·t + q2·t³/3, q2·t²/2, q2·t.
func (f *Filter) wander(a, b int, t, q1, q2 float64) {
	f.P[a][a] += q1*t + q2*t*t*t/3
	f.P[a][b] += q2 * t * t / 2
	f.P[b][a] += q2 * t * t / 2
	f.P[b][b] += q2 * t
}

// Rel is a measured UTC − local of z ns at an instant, relative to Base and carried
// to the filter's instant, s.
func (f *Filter) Rel(at timescale.Local, z int64) float64 {
	return float64(z-f.Base)/1e9 + f.V[Y]*float64(f.At-at)/1e9
}

// Expect is the mean and the variance of what is seen, s and s².
func (f *Filter) Expect(o Sight) (mean, variance float64) {
	p := &f.P
	mean = f.V[X] + o.D*f.V[D] + o.R*f.V[R]
	variance = p[X][X] + o.D*o.D*p[D][D] + o.R*o.R*p[R][R] + 2*(o.D*p[X][D]+o.R*p[X][R]+o.D*o.R*p[D][R])
	return mean, math.Max(variance, 0)
}

// Measure updates the states with z, seen with the variance r.
func (f *Filter) Measure(z float64, o Sight, r float64) {
	mean, variance := f.Expect(o)
	s := variance + r
	if s <= 0 {
		return
	}
	var ph [Num]float64
	for i := range ph {
		ph[i] = f.P[i][X] + o.D*f.P[i][D] + o.R*f.P[i][R]
	}
	f.gain(&ph, z-mean, s, f.C[X]+o.D*f.C[D]+o.R*f.C[R])
}

// gain updates the states with an innovation nu of variance s; ph is its covariance with
// them, c that with the shared error, as a part of its σ.
func (f *Filter) gain(ph *[Num]float64, nu, s, c float64) {
	for i := range ph {
		f.V[i] += ph[i] / s * nu
		f.C[i] -= ph[i] / s * c
		for k := range ph {
			f.P[i][k] -= ph[i] * ph[k] / s
		}
		f.P[i][i] = math.Max(f.P[i][i], 0)
	}
}

// MeasureShared updates X with z, whose error is the sum of one that all such measurements
// share, of standard deviation common, and one of its own of the variance r. The own one is
// largely that of the measurement before, so that r counts repeat times, at least 1: but a
// surer measurement than what the states have of them leaves X as sure as itself. The shared
// error is considered, not estimated (Schmidt 1966): C keeps how far the states have it already, so
// that no number of measurements leaves X surer than common, and their own errors average out.
// A measurement that could tell only by what the states have of the shared error tells nothing.
func (f *Filter) MeasureShared(z, common, r, repeat float64) {
	var ph [Num]float64
	for i := range ph {
		ph[i] = f.P[i][X] + common*f.C[i]
	}
	own := ph[X] + common*(f.C[X]+common)
	if ph[X] <= 0 {
		return
	}
	v := r * repeat
	if own > r {
		v = min(v, own*r/(own-r))
	}
	f.gain(&ph, z-f.V[X], own+v, f.C[X]+common)
}

// ExpectShared is the variance of what MeasureShared is to measure, but for r, s².
func (f *Filter) ExpectShared(common float64) float64 {
	return math.Max(f.P[X][X]+common*(2*f.C[X]+common), 0)
}

// Owe has the error of state s be the shared one of MeasureShared, of standard deviation
// common, so far as it goes, with the sign of that: s was known by such measurements when the
// filter was begun.
func (f *Filter) Owe(s int, common float64) {
	f.C[s] = math.Copysign(math.Min(f.Sigma(s), math.Abs(common)), common)
}

// MeasureCommon updates X with z, whose error is the same in all measurements of its
// source: however many come, X is left no surer than sigma by them.
func (f *Filter) MeasureCommon(z, sigma float64) {
	floor := sigma * sigma
	if p := f.P[X][X]; p > floor {
		f.Measure(z, Time, math.Max(p*floor/(p-floor), floor))
	}
}

// Attach defines state s as gain·X + value, known but for X's own uncertainty and the
// variance r: what it describes is met for the first time, or has moved while the rest
// stood still.
func (f *Filter) Attach(s int, value, gain, r float64) {
	f.V[s] = value + gain*f.V[X]
	f.C[s] = gain * f.C[X]
	for i := range f.P {
		f.P[s][i] = gain * f.P[X][i]
		f.P[i][s] = gain * f.P[i][X]
	}
	f.P[s][s] = gain*gain*f.P[X][X] + r
}

// Tie has state s, of which nothing but its own variance was known, share its error with X as far as both go: the
// smaller of the two variances is common to them. So whichever is known better stands when the two are laid
// against each other, and neither makes the other surer than itself.
func (f *Filter) Tie(s int) {
	if f.P[X][X] <= 0 {
		return
	}
	k := math.Min(f.P[s][s]/f.P[X][X], 1)
	for i := range f.P {
		if i != s {
			f.P[s][i] = k * f.P[X][i]
			f.P[i][s] = f.P[s][i]
		}
	}
}

// Start defines X by one measurement z with the variance r: what was known of X counts
// no more, the other states do.
func (f *Filter) Start(z float64, o Sight, r float64) {
	f.V[X] = z - o.D*f.V[D] - o.R*f.V[R]
	f.C[X] = -o.D*f.C[D] - o.R*f.C[R]
	row := [Num]float64{}
	for i := range row {
		if i != X {
			row[i] = -o.D*f.P[D][i] - o.R*f.P[R][i]
		}
	}
	own := o.D*o.D*f.P[D][D] + o.R*o.R*f.P[R][R] + 2*o.D*o.R*f.P[D][R] + r
	for i := range row {
		f.P[X][i], f.P[i][X] = row[i], row[i]
	}
	f.P[X][X] = own
}

// Forget makes state s independent of the others, with mean and standard deviation.
func (f *Filter) Forget(s int, mean, sigma float64) {
	f.V[s], f.C[s] = mean, 0
	for i := range f.P {
		f.P[s][i], f.P[i][s] = 0, 0
	}
	f.P[s][s] = sigma * sigma
}

// Open adds to the variance of state s.
func (f *Filter) Open(s int, variance float64) { f.P[s][s] += variance }

// Shift moves UTC by s; what was compared with it moves along.
func (f *Filter) Shift(s float64) {
	f.V[X] += s
	f.V[R] -= s
}

// Sigma is the standard deviation of state s.
func (f *Filter) Sigma(s int) float64 { return math.Sqrt(math.Max(f.P[s][s], 0)) }

// Ahead is the variance of X after t more seconds without a measurement, s².
func (f *Filter) Ahead(t float64) float64 {
	p := &f.P
	return math.Max(p[X][X]+2*t*p[X][Y]+t*t*p[Y][Y]+f.Noise.X*t+f.Noise.Y*t*t*t/3, 0)
}
