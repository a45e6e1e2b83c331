package standing

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/grid"
)

// Movement. A fix beyond the 99.9 % radius is not believed alone; three of them over
// two seconds are a movement. Fixes beyond the 95 % radius for a minute say that the
// mean is no longer where the station is, whatever took it away. The figures are ours.
const (
	fastMS     = 1.0 // over ground; more than a standing receiver shows for long
	fastFixes  = 2
	awayFixes  = 3
	awayFor    = 2 * time.Second
	strayFor   = time.Minute
	settledFor = 10 * time.Second // in one place, and the movement is over
	lostFor    = time.Hour        // without a fix, and the mean begins anew

	// A circular normal error with its centre 0.35 σ off exceeds the 99 % radius in
	// 1.3 % (noncentral chi-square, two degrees of freedom): within the 1.5 % allowed.
	lagSigmas = 0.35
)

// Fix is one valid fix.
type Fix struct {
	At                      timescale.Local
	Point                   grid.Point
	SigmaNorthM, SigmaEastM float64 // 1 σ of each axis, m, > 0; a fix without is not taken
	SpeedMS                 float64 // over ground, m/s; −1 = not said
}

// usable tells whether the errors are numbers to reckon with.
func (f *Fix) usable() bool {
	return f.SigmaNorthM > 0 && f.SigmaEastM > 0 && !math.IsInf(f.SigmaNorthM+f.SigmaEastM, 0)
}

// Estimate is where the station stands.
type Estimate struct {
	Point                   grid.Point
	SigmaNorthM, SigmaEastM float64         // 1 σ of each axis, m
	At                      timescale.Local // of the last fix in it
	Since                   timescale.Local // of the first
	Fixes                   int
	Moving                  bool
}

// Place averages. The zero Place knows nothing yet.
type Place struct {
	known       bool
	origin      grid.Point // the offsets below are from here, m
	north, east axis
	at, since   timescale.Local
	fixes       int

	fast    int             // fixes in a row that say so
	away    int             // fixes in a row too far from the mean
	awayAt  timescale.Local // the first of them
	stray   bool            // fixes are rather far from the mean
	strayAt timescale.Local // since
	moving  bool
	anchor  Fix // while moving: where it may have come to rest
	speeds  speeds
	wayM    float64         // the longest way since the mean began, by the speeds said; +Inf where one was not
	seen    timescale.Local // the latest fix, believed or not
}

// Take takes the next fix.
func (p *Place) Take(f Fix) {
	if !f.usable() {
		return
	}
	if !p.known || f.At.Sub(p.at) > lostFor {
		p.begin(f)
		p.speeds = speeds{}
		p.speeds.take(f)
		return
	}
	p.speeds.take(f)
	p.longestWay(f)
	n, e := offset(p.origin, f.Point)
	r := math.Hypot((n-p.north.mean)/max(f.SigmaNorthM, math.Sqrt(p.north.variance)), (e-p.east.mean)/max(f.SigmaEastM, math.Sqrt(p.east.variance)))
	fast, gone, strayed := p.sensesSpeed(f), p.sensesDistance(f, r), p.sensesStraying(f, r)
	switch {
	case fast || gone:
		p.moving, p.anchor = true, f
		p.begin(f)
	case p.moving:
		p.settle(f)
	case r > radius999:
		// An outlier, or the first sign of movement: the next ones will tell.
	case strayed:
		p.begin(f)
	default:
		p.average(f, n, e, r)
	}
}

// begin starts the mean with f.
func (p *Place) begin(f Fix) {
	p.known, p.origin, p.at, p.since, p.fixes = true, f.Point, f.At, f.At, 1
	p.north, p.east = first(f.SigmaNorthM), first(f.SigmaEastM)
	p.away, p.stray = 0, false
	p.wayM, p.seen = 0, f.At
}

// longestWay adds what the station may have gone since the fix before.
func (p *Place) longestWay(f Fix) {
	if f.SpeedMS >= 0 {
		p.wayM += f.SpeedMS * f.At.Sub(p.seen).Seconds()
	} else {
		p.wayM = math.Inf(1)
	}
	p.seen = f.At
}

// average takes a fix r σ from the mean into it; the far ones with less weight.
func (p *Place) average(f Fix, n, e, r float64) {
	pull := 1.0
	if r > radius95 {
		pull = radius95 / r
	}
	dt := f.At.Sub(p.at)
	p.north.take(p.north.mean+pull*(n-p.north.mean), f.SigmaNorthM, dt)
	p.east.take(p.east.mean+pull*(e-p.east.mean), f.SigmaEastM, dt)
	p.north.last, p.east.last = n, e // the fix itself: what pulls less on the mean is no less true
	p.at = f.At
	p.fixes++
}

// settle follows what moves until it has stayed in one place.
func (p *Place) settle(f Fix) {
	n, e := offset(p.anchor.Point, f.Point)
	switch {
	case math.Hypot(n/f.SigmaNorthM, e/f.SigmaEastM) > radius95:
		p.anchor = f
	case f.At.Sub(p.anchor.At) >= settledFor && p.speeds.slow(f.At):
		p.moving = false
	}
	p.begin(f)
}

func (p *Place) sensesSpeed(f Fix) bool {
	if p.fast++; !(f.SpeedMS > fastMS) {
		p.fast = 0
	}
	return p.fast >= fastFixes || p.speeds.creeping(f.At)
}

func (p *Place) sensesDistance(f Fix, r float64) bool {
	if r <= radius999 {
		p.away = 0
		return false
	}
	if p.away++; p.away == 1 {
		p.awayAt = f.At
	}
	return p.away >= awayFixes && f.At.Sub(p.awayAt) >= awayFor
}

func (p *Place) sensesStraying(f Fix, r float64) bool {
	if r <= radius95 {
		p.stray = false
		return false
	}
	if !p.stray {
		p.stray, p.strayAt = true, f.At
	}
	return f.At.Sub(p.strayAt) >= strayFor
}

// Now is the estimate as of the last fix, and whether there was any.
func (p *Place) Now() (Estimate, bool) {
	if !p.known {
		return Estimate{}, false
	}
	north, northVar, east, eastVar := p.best()
	return Estimate{Point: shifted(p.origin, north, east), SigmaNorthM: math.Sqrt(northVar), SigmaEastM: math.Sqrt(eastVar),
		At: p.at, Since: p.since, Fixes: p.fixes, Moving: p.moving}, true
}

// best is the place and its variances. A mean lags behind a station that creeps, and
// over minutes that looks the same as the wander of a station that stands. So the mean
// may lie a little from the last fix, by lagSigmas of its error and what of the way
// between them the receiver's own speed rules out; what is farther is drawn to there, and
// then no more is claimed than of the last fix.
func (p *Place) best() (north, northVar, east, eastVar float64) {
	north, northVar = p.north.best()
	east, eastVar = p.east.best()
	dN, dE := (north-p.north.last)/p.north.sigma, (east-p.east.last)/p.east.sigma
	apart := math.Hypot(dN, dE)
	if apart == 0 {
		return north, northVar, east, eastVar
	}
	way := p.wayM / min(p.north.sigma, p.east.sigma)
	allowed := lagSigmas + max(0, apart-way)
	if allowed < apart {
		k := allowed / apart
		north = p.north.last + k*(north-p.north.last)
		east = p.east.last + k*(east-p.east.last)
	}
	single := min(1, min(apart, way)/lagSigmas)
	northVar += single * (p.north.sigma*p.north.sigma - northVar)
	eastVar += single * (p.east.sigma*p.east.sigma - eastVar)
	return north, northVar, east, eastVar
}

// offset is the way from a to b, m north and east: along the geodesic, which is
// exact enough over the few hundred metres in which anything is averaged.
func offset(a, b grid.Point) (north, east float64) {
	l := grid.Inverse(a, b)
	sin, cos := math.Sincos(l.HeadingDeg * math.Pi / 180)
	return l.DistanceM * cos, l.DistanceM * sin
}

func shifted(p grid.Point, north, east float64) grid.Point {
	d := math.Hypot(north, east)
	if d == 0 {
		return p // as the receiver said it, to the last digit
	}
	to, err := grid.Direct(p, math.Atan2(east, north)*180/math.Pi, d)
	if err != nil {
		return p // not reached: a geodesic does not leave the Earth
	}
	return to
}
