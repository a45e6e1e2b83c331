package standing

import (
	"math"
	"time"
)

// How the variance of a fix's error divides, and how long its slow part lasts. Ours,
// by common practice, no source; and by the captures of standing receivers in
// testdata/nmea, whose error stays for 5 min to 1 h, then goes elsewhere within a
// minute. An error that lasts longer than assumed would make the bound too small:
// so the time is a long one.
const (
	lastingShare = 0.25 // the same for days: reflections around, models of orbits and air
	slowShare    = 0.70 // wanders
	quickShare   = 0.05 // new with each fix
	wander       = 90 * time.Minute
	memory       = 6 * time.Hour // after which a fix's weight has fallen to 1/e
)

var lastingPart, slowPart = math.Sqrt(lastingShare), math.Sqrt(slowShare)

// axis is the weighted mean along one axis, and the exact variance of its error if a
// fix's error is σ·(lastingPart·L + slowPart·W + the rest), with L and W of variance
// 1, L for ever and W a first-order Gauss-Markov process of time constant wander.
type axis struct {
	mean     float64 // m
	weight   float64 // 1/m²
	variance float64 // of the mean's error, m²
	lasting  float64 // covariance of its error with L, m
	slow     float64 // and with W as of now, m
	last     float64 // the last fix, m
	sigma    float64 // its σ, m
	own      float64 // what the mean shares with the last fix beyond L and W, m²
}

func first(sigma float64) axis {
	return axis{weight: 1 / (sigma * sigma), variance: sigma * sigma,
		lasting: lastingPart * sigma, slow: slowPart * sigma, sigma: sigma, own: quickShare * sigma * sigma}
}

// take takes a fix at z, dt after the one before.
func (a *axis) take(z, sigma float64, dt time.Duration) {
	t := max(dt, 0).Seconds()
	a.slow *= math.Exp(-t / wander.Seconds())
	a.weight *= math.Exp(-t / memory.Seconds())
	w := 1 / (sigma * sigma)
	a.weight += w
	k := w / a.weight
	a.variance = a.mixed(k, sigma, a.shared(sigma))
	a.mean += k * (z - a.mean)
	a.lasting += k * (lastingPart*sigma - a.lasting)
	a.slow += k * (slowPart*sigma - a.slow)
	a.last, a.sigma, a.own = z, sigma, k*quickShare*sigma*sigma
}

// shared is the covariance of the mean's error with that of a new fix now.
func (a *axis) shared(sigma float64) float64 {
	return sigma * (lastingPart*a.lasting + slowPart*a.slow)
}

// mixed is the variance of the mean with a fix of weight k, with which it shares so much.
func (a *axis) mixed(k, sigma, shared float64) float64 {
	return (1-k)*(1-k)*a.variance + k*k*sigma*sigma + 2*k*(1-k)*shared
}

// best is the mean, drawn toward the last fix by as much as makes the variance
// least: so this is never more than that of either.
func (a *axis) best() (at, variance float64) {
	shared := a.shared(a.sigma) + a.own
	k := 0.0
	if apart := a.variance + a.sigma*a.sigma - 2*shared; apart > 0 {
		k = min(max((a.variance-shared)/apart, 0), 1)
	}
	return a.mean + k*(a.last-a.mean), a.mixed(k, a.sigma, shared)
}

// Radii that hold a circular normal error, in σ of one axis: √(−2 ln p) but for p.
var (
	radius95  = math.Sqrt(-2 * math.Log(0.05))
	radius99  = math.Sqrt(-2 * math.Log(0.01))
	radius999 = math.Sqrt(-2 * math.Log(0.001))
)

// Normal quantiles: what holds 95 % and 99 % of an error along one line.
const (
	line95 = 1.95997
	line99 = 2.57583
)

// Radius95 is the radius in metres that holds 95 % of a horizontal normal error
// whose axes have the given 1 σ errors, in metres. It is exact where these are equal
// or one is 0, and up to 3.5 % too wide between.
func Radius95(northM, eastM float64) float64 { return radius(northM, eastM, line95, radius95) }

// Radius99 is the same for 99 %.
func Radius99(northM, eastM float64) float64 { return radius(northM, eastM, line99, radius99) }

func radius(a, b, line, circle float64) float64 {
	a, b = max(a, b), min(a, b)
	if !(a > 0) {
		return 0
	}
	return a*line + (circle-line)*b*b/a
}
