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
}

// Take takes the next fix.
func (p *Place) Take(f Fix) {
	if !f.usable() {
		return
	}
	if !p.known || f.At.Sub(p.at) > lostFor {
		p.begin(f)
		return
	}
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
	p.at = f.At
	p.fixes++
}

// settle follows what moves until it has stayed in one place.
func (p *Place) settle(f Fix) {
	n, e := offset(p.anchor.Point, f.Point)
	switch {
	case math.Hypot(n/f.SigmaNorthM, e/f.SigmaEastM) > radius95:
		p.anchor = f
	case f.At.Sub(p.anchor.At) >= settledFor:
		p.moving = false
	}
	p.begin(f)
}

func (p *Place) sensesSpeed(f Fix) bool {
	if p.fast++; !(f.SpeedMS > fastMS) {
		p.fast = 0
	}
	return p.fast >= fastFixes
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
	north, northVar := p.north.best()
	east, eastVar := p.east.best()
	return Estimate{Point: shifted(p.origin, north, east), SigmaNorthM: math.Sqrt(northVar), SigmaEastM: math.Sqrt(eastVar),
		At: p.at, Since: p.since, Fixes: p.fixes, Moving: p.moving}, true
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
