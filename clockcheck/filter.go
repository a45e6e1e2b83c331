package clockcheck

import (
	"math"

	"noonmark/clockcheck/timescale"
)

// The states of the joint estimator, all relative to UTC.
const (
	sX  = iota // UTC − local timescale − base, s
	sY         // rate of x: s per local second
	sD         // arrival latency of the receiver's bursts, s
	sR         // RTC − UTC, less rtcBase, s
	sS         // rate of r, s per second
	nSt        // how many
	sNo = -1   // no second state takes part in a measurement
)

// Process noise. The oscillator is the two-state clock of Zucca and Tavella
// (Metrologia 42, 2005): white frequency noise q1, random-walk frequency noise
// q2; var y grows by q2·t, var x by q1·t + q2·t³/3. The values are planning
// numbers for an uncompensated crystal in a small computer outdoors: 0.6 ppm
// in an hour, 3 ppm in a day (facts: 0.6 ppm peak to peak in 8 h idle indoors,
// ±3 ppm with field temperature swings).
const (
	q1X = 1e-16  // s²/s: 10 ns·√s, far under any reading here
	q2X = 1e-16  // 1/s
	qD  = 2.8e-8 // s²/s: a latency wanders 10 ms in an hour (receivers measured: 0.3 to 30 ms); see watch.soften
	qR  = 1e-14  // s²/s
	// The RTC's own rate wander while the station is on: compensated and plain.
	qSComp = 3e-19 // 1/s: 0.03 ppm in an hour
	// Plain: 6 ppm in an hour. The parabola of a tuning fork, −0.034 ppm/°C² (NXP
	// UM10301), is 2 to 3 ppm/°C steep in the cold, where air changes by 2 °C in an hour.
	qSPlain = 1e-14 // 1/s
)

// filter is a Kalman filter over the five states. It knows nothing of trust:
// whoever calls it has decided that a measurement is to count.
type filter struct {
	v           [nSt]float64
	p           [nSt][nSt]float64
	at          timescale.Local // instant the states refer to
	base        int64           // ns: UTC − local = base + x
	qS          float64
	qD          float64
	met         int // how often the hardware clock was met anew: its states before are another's
	independent int // measurements of x itself, by what is no receiver and no hardware clock
}

// advance carries the states forward to now. An instant before the filter's own
// changes nothing: a late reading is carried forward instead (see measure).
func (f *filter) advance(now timescale.Local) {
	dt := float64(now-f.at) / 1e9
	if dt <= 0 {
		return
	}
	f.at = now
	f.v[sX] += f.v[sY] * dt
	f.v[sR] += f.v[sS] * dt
	f.shear(sX, sY, dt)
	f.shear(sR, sS, dt)
	f.noise(sX, sY, dt, q1X, q2X)
	f.noise(sR, sS, dt, qR, f.qS)
	f.p[sD][sD] += f.qD * dt
}

// shear applies a += b·dt to the covariance.
func (f *filter) shear(a, b int, dt float64) {
	for i := range f.p {
		f.p[a][i] += f.p[b][i] * dt
	}
	for i := range f.p {
		f.p[i][a] += f.p[i][b] * dt
	}
}

func (f *filter) noise(a, b int, dt, q1, q2 float64) {
	f.p[a][a] += q1*dt + q2*dt*dt*dt/3
	f.p[a][b] += q2 * dt * dt / 2
	f.p[b][a] += q2 * dt * dt / 2
	f.p[b][b] += q2 * dt
}

// sum is the estimate of x + sign·state other, and its variance.
func (f *filter) sum(other int, sign float64) (v, variance float64) {
	if other == sNo {
		return f.v[sX], f.p[sX][sX]
	}
	return f.v[sX] + sign*f.v[other], f.p[sX][sX] + 2*sign*f.p[sX][other] + f.p[other][other]
}

// measure updates with z, a measurement of x + sign·other at the filter's
// instant, with variance r.
func (f *filter) measure(z float64, other int, sign, r float64) {
	if other == sNo {
		f.independent++
	}
	want, variance := f.sum(other, sign)
	s := variance + r
	if s <= 0 {
		return
	}
	var ph [nSt]float64
	for i := range ph {
		ph[i] = f.p[i][sX]
		if other != sNo {
			ph[i] += sign * f.p[i][other]
		}
	}
	nu := z - want
	for i := range ph {
		f.v[i] += ph[i] / s * nu
	}
	for i := range ph {
		for k := range ph {
			f.p[i][k] -= ph[i] * ph[k] / s
		}
		if f.p[i][i] < 0 {
			f.p[i][i] = 0
		}
	}
}

// measureStream updates with a reading of the receiver's stream, which tells no rate
// better than floor, s/s: one that is known so well already stays as it is, and what
// others hang on it. Of two that stay, the hardware clock's and the oscillator's, what
// is known of their sum stays too.
func (f *filter) measureStream(z, r, floor float64) {
	was := *f
	f.measure(z, sD, -1, r)
	if math.Max(was.p[sY][sY], was.p[sS][sS]) <= floor*floor {
		f.p[sY][sS], f.p[sS][sY] = was.p[sY][sS], was.p[sS][sY]
	}
	for _, s := range [...]int{sY, sS} {
		switch p := was.p[s][s]; {
		case p <= floor*floor:
			f.v[s], f.p[s][s] = was.v[s], p
		case f.p[s][s] < floor*floor:
			f.p[s][s] = floor * floor
		}
	}
}

// measureCommon updates x with z, whose error is common to all readings of its
// source: they do not average below sigma, however many come. The weight is such
// that x, and with it all that hangs on x, is left no surer than that.
func (f *filter) measureCommon(z, sigma float64, common bool) {
	floor := sigma * sigma
	if !common {
		f.measure(z, sNo, 0, floor)
		return
	}
	if p := f.p[sX][sX]; p > floor {
		f.measure(z, sNo, 0, math.Max(p*floor/(p-floor), floor))
	}
}

// attach defines state s anew as gain·x + value, known but for x's own
// uncertainty and the variance r: a reference is met for the first time, or has
// jumped while the rest stood still.
func (f *filter) attach(s int, value, gain, r float64) {
	f.v[s] = value + gain*f.v[sX]
	for i := range f.p {
		f.p[s][i] = gain * f.p[sX][i]
		f.p[i][s] = gain * f.p[i][sX]
	}
	f.p[s][s] = gain*gain*f.p[sX][sX] + r
}

// start defines x from one reading: x = z + latency (other = sD) or z alone.
func (f *filter) start(z float64, other int, r float64) {
	f.v[sX] = z
	for i := range f.p {
		f.p[sX][i], f.p[i][sX] = 0, 0
	}
	f.p[sX][sX] = r
	if other == sNo {
		return
	}
	sign := 1.0
	if other == sR {
		sign = -1
	}
	f.v[sX] += sign * f.v[other]
	for i := range f.p {
		if i != sX {
			f.p[sX][i] = sign * f.p[other][i]
			f.p[i][sX] = f.p[sX][i]
		}
	}
	f.p[sX][sX] = f.p[other][other] + r
}

// shift moves UTC by s: what was compared with it moves along.
func (f *filter) shift(s float64) {
	f.v[sX] += s
	f.v[sR] -= s
}

// loosen says that UTC may lie s off, and with it all that was compared with it.
func (f *filter) loosen(s float64) {
	moves := [nSt]float64{sX: s, sD: s, sR: -s}
	for i, a := range moves {
		for k, b := range moves {
			f.p[i][k] += a * b
		}
	}
}

// forget makes state s independent, with mean and standard deviation.
func (f *filter) forget(s int, mean, sigma float64) {
	f.v[s] = mean
	for i := range f.p {
		f.p[s][i], f.p[i][s] = 0, 0
	}
	f.p[s][s] = sigma * sigma
}

// sigma is the standard deviation of state s.
func (f *filter) sigma(s int) float64 { return math.Sqrt(max(f.p[s][s], 0)) }

// predictVariance is the variance of x + sign·other after t more seconds without any
// reading (other's own noise included).
func (f *filter) predictVariance(t float64, other int, sign float64) float64 {
	p := &f.p
	v := p[sX][sX] + 2*t*p[sX][sY] + t*t*p[sY][sY] + q1X*t + q2X*t*t*t/3
	if other == sD {
		v += 2*sign*(p[sX][sD]+t*p[sY][sD]) + p[sD][sD] + f.qD*t
	}
	return max(v, 0)
}
