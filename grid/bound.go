package grid

import "math"

// How far an answer can be wrong because a locator names an area and not a place. The
// limits hold for every point of the areas, not for most of them.
//
// Where the areas are small beside the line, they are projected on it: along it they
// change the distance, across it the headings (first order of spherical trigonometry; the
// second order and the flattening are allowed for). Where they are not, their outlines are
// compared on a sphere (outline.go). Toward the antipodes the triangle inequality and the
// sine rule remain.

// Bound is the ± of a Line, from the areas that its ends may lie in.
type Bound struct {
	DistanceM      float64
	HeadingDeg     float64 // 180: any direction
	BackHeadingDeg float64
}

const (
	smallPart = 0.04                // of the line: areas within are projected
	farArc    = 174 * math.Pi / 180 // beyond lie the antipodes
)

// Between gives the shortest line from a to b, as Inverse, and its ±; the headings of the
// long path have the same. From a place to itself, and to its antipode, any heading is as good.
func Between(a, b End) (Line, Bound) { return a.To(&b) }

// To is Between for long lists.
func (a *End) To(b *End) (Line, Bound) {
	l := inverse(a.lat, a.lon, b.lat, b.lon)
	return l, l.between(a, b)
}

func (l *Line) between(a, b *End) Bound {
	reach := a.reachM + b.reachM
	arc := l.DistanceM * (1 / meanRadius)
	switch {
	case reach == 0 && l.DistanceM > 0 && !antipodal(a.p, b.p):
		return Bound{}
	case reach == 0:
		return Bound{0, 180, 180}
	case arc+reach*(1/smallestRadius) > farArc:
		return l.farBound(a, b)
	case reach > smallPart*l.DistanceM || reach > smallPart*meanRadius*a.pole && a.reachM > 0 || reach > smallPart*meanRadius*b.pole && b.reachM > 0:
		return outlineBound(a, b, l.DistanceM)
	}
	return l.projected(a, b, arc)
}

func antipodal(a, b Point) bool {
	return a.lat == -b.lat && (abs(a.lon-b.lon) == maxLon || abs(a.lat) == maxLat)
}

// projected is the bound where both areas are small beside the line.
func (l *Line) projected(a, b *End, arc float64) Bound {
	sin, cos := sincos(arc * (180 / math.Pi))
	// An ellipsoid's reduced length and geodesic scale (Karney 2013, section 3) are those of
	// a sphere but for parts of the flattening that grow toward the antipodes. The factors
	// are ours: fitted to sampled lines with nothing below (TestBoundIsJust).
	perM := 1 / (meanRadius * (sin - wgsF*arc))
	perSin := 1 / sin
	long := arc * perSin
	cot, slack := cos*perSin, wgsF*(0.7+0.7*long+0.1*long*long)
	pa := a.project(l.HeadingDeg, cot, slack)
	pb := b.project(l.BackHeadingDeg, cot, slack)
	across := pa.across + pb.across
	second := across * across * perM / 2
	skew := across * (pa.along + pb.along) * perM * perM
	const degree = 180 / math.Pi
	return Bound{
		DistanceM:      min(1.002*(pa.along+pb.along)+second, a.reachM+b.reachM),
		HeadingDeg:     min(180, (1.002*(pa.own+pb.across*perM)+skew)*degree),
		BackHeadingDeg: min(180, (1.002*(pb.own+pa.across*perM)+skew)*degree),
	}
}

// projection is what an area means for a line that leaves it.
type projection struct {
	along, across float64 // half its length along and across the line, metres
	own           float64 // how far the heading can turn at this end by where in the area it is, radians
}

// project projects the area on a line toward headingDeg. cot is that of the line's arc,
// slack how far it and the turn of north may be off, as a part.
//
// A place that lies n north and e east turns the heading there by
// (n sin α cot θ − e (cos α cot θ − tan φ)) / R.
func (e *End) project(headingDeg, cot, slack float64) projection {
	if e.shape == exact {
		return projection{}
	}
	sin, cos := sincos(headingDeg - e.turned*(180/math.Pi))
	n, w := sin*cot, cos*cot
	tan := e.tanLat
	absTan := math.Abs(tan)
	more := slack * (absTan*e.halfE + e.halfN*math.Abs(sin) + e.halfE*math.Abs(cos))
	// North turns by more where the area comes nearer to the pole.
	more += e.halfN * e.halfE * (1 + tan*tan) * (1 / smallestRadius)
	switch e.shape {
	case circle:
		return projection{e.reachM, e.reachM, (e.reachM*math.Hypot(n, w-tan) + more) * (1 / meanRadius)}
	case turnedBox: // the turn is small where UTM is defined, but not nothing
		s, c := math.Sincos(e.turned)
		return projection{e.halfN*math.Abs(cos) + e.halfE*math.Abs(sin), e.halfN*math.Abs(sin) + e.halfE*math.Abs(cos),
			(e.halfN*math.Abs(n+tan*s) + e.halfE*math.Abs(w-tan*c) + more) * (1 / meanRadius)}
	}
	return projection{e.halfN*math.Abs(cos) + e.halfE*math.Abs(sin), e.halfN*math.Abs(sin) + e.halfE*math.Abs(cos),
		(e.halfN*math.Abs(n) + e.halfE*math.Abs(w-tan) + more) * (1 / meanRadius)}
}

// farBound is the bound toward the antipodes: the triangle inequality for the distance;
// for headings the sine rule.
func (l *Line) farBound(a, b *End) Bound {
	reach := a.reachM + b.reachM
	// Of the arcs that the line may be of, that with the smaller sine counts.
	arc, r := l.DistanceM/smallestRadius, reach/smallestRadius
	seen := math.Pi
	if arc+r < math.Pi { // else it may as well run the other way round
		seen = width(r, arc)
	}
	const degree = 180 / math.Pi
	return Bound{reach, min(180, (seen+a.northTurns())*degree), min(180, (seen+b.northTurns())*degree)}
}

// northTurns is how far north can turn within reach, radians.
func (e *End) northTurns() float64 {
	if e.reachM == 0 {
		return 0
	}
	return width(e.reachM/smallestRadius, e.pole)
}

// width is half the angle under which a circle of radius r is seen from the
// distance d of its centre, all in radians of arc; π from within.
func width(r, d float64) float64 {
	if r >= d || r >= math.Pi-d {
		return math.Pi
	}
	if sin := math.Sin(r) / math.Sin(d); sin < 1 {
		return math.Asin(sin)
	}
	return math.Pi
}
