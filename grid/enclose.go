package grid

import "math"

// The enclosure: where a's point moves by n north and e east (metres) and b's by c across the
// line, the heading at a (h) changes at the rate
//
//	κ (n sin h − e cos h) + e tan φ / N ± c / m,
//
// N the radius of curvature in the prime vertical, m the line's reduced length, and κ = m′/m
// (C. F. F. Karney 2013, section 3); the length changes by the parts along the line.
//
// m solves m″ + K m = 0, K the Gaussian curvature, and on WGS 84 1/√K lies between
// a (1 − f) and a / (1 − f). So by Sturm's comparison theorem, for every line of the length s,
//
//	m ≥ a (1−f) sin(s / (a (1−f))),
//	cot(s / (a (1−f))) / (a (1−f))  ≤  κ  ≤  (1−f) cot((1−f) s / a) / a,
//
// as long as s < π a (1−f). That is also the least distance at which two shortest lines
// can meet, so that within it the heading is continuous in both points.
//
// All points of both areas are reached on straight ways from the middles, at the part t of
// which nothing has changed by more than t times its greatest change: the rate is first order
// + t × rest, and its integral first order + rest / 2. The rest needs limits for the
// headings' own change. Any that come out no larger than they went in are proved, for the
// first heading to leave them would have had to do so at a smaller rate.

// stretch is 1 / (1 − f).
const stretch = 1 / (1 - wgsF)

// unseen is a part of a degree that no outline is drawn for, radians (0.003 degree).
const unseen = 5e-5

// fine allows for sincos, which is right to 4e-6.
const fine = 1 + 1e-5

// rates are limits of what all lines between the areas have in common; lengths in metres.
type rates struct {
	kappa, spread, change float64 // κ of the line: middle, half range; and its change over the areas
	perM, morePerM        float64 // 1/m, at most; and its change over the areas
	plainPerM             float64 // 1/m, between its limits
}

// of is not ok where a line between the areas may be as long as to the antipode.
func (r *rates) of(distanceM, reach float64) (ok bool) {
	x := distanceM * (1 / wgsA)
	y, d := x*stretch, reach*(stretch/wgsA)
	if y+d >= math.Pi {
		return false
	}
	s, c := halfTurn(y)
	// Of x (1 − f), which is y less at most 0.022: by the theorem of addition and series.
	e := x * (stretch - (1 - wgsF))
	se, ce := e*(1-e*e*(1.0/6)), 1-e*e*(0.5-e*e*(1.0/24))
	s2, c2 := s*ce-c*se, c*ce+s*se
	least := s*(1-d*d*0.5) - math.Abs(c)*d // of sin(y ± d)
	if least <= 0 || s2 <= 0 {
		return false
	}
	all := 1 / (s * s2 * least) // one division for three
	perS, perS2, most := s2*least*all, s*least*all, s*s2*all*(stretch/wgsA)
	low, high := c*perS*(stretch/wgsA), c2*perS2*((1-wgsF)/wgsA)
	r.perM, r.plainPerM = perS*(stretch/wgsA), (perS+perS2)*(0.5/wgsA)
	r.kappa, r.spread = (low+high)*0.5, math.Abs(high-low)*0.5
	r.change, r.morePerM = reach*most*most, most-r.perM
	return true
}

// halfTurn gives sine and cosine of 0 to π, the sine of small angles as exactly as of others.
func halfTurn(x float64) (sin, cos float64) {
	if x < 0.5 {
		x2 := x * x
		return x * (1 - x2*(1.0/6-x2*(1.0/120-x2*(1.0/5040)))), 1 - x2*(1.0/2-x2*(1.0/24-x2*(1.0/720)))
	}
	sin, cos = quarters(x - math.Pi/2)
	return cos, -sin
}

// quarters gives sine and cosine from −π/2 to π/2, to 4e-6 and to 1e-8.
func quarters(x float64) (sin, cos float64) {
	x2 := x * x
	sin = x * (1 - x2*(1.0/6-x2*(1.0/120-x2*(1.0/5040-x2*(1.0/362880)))))
	cos = 1 - x2*(1.0/2-x2*(1.0/24-x2*(1.0/720-x2*(1.0/40320-x2*(1.0/3628800-x2*(1.0/479001600))))))
	return sin, cos
}

// swing is what the area of one end means for a line that leaves it.
type swing struct {
	own, spread   float64 // of the heading here, radians: first order; that of what κ and N are not known to
	rest          float64 // its change over the area, without the next:
	perH, perH2   float64 // this times the heading's own change, and this times its square
	along, across float64 // half the area's length along and across the line, metres: first order
	box           float64 // 1: they change with the heading, each by the other; of a circle 0
	axes          float64 // how far the area's axes turn within it, radians
}

func (w *swing) of(e *End, headingDeg float64, r *rates) (ok bool) {
	if e.shape == exact {
		return true
	}
	// The area is as wide to both sides; a heading of 180 ± h has the cosine −cos h.
	cos, asin := quarters((math.Abs(headingDeg-180) - 90) * (math.Pi / 180))
	most := math.Abs(r.kappa) + r.spread + r.change
	if e.shape == turnedBox {
		var sin float64
		sin, cos = sincos(headingDeg - e.turned*(180/math.Pi))
		return w.ofSquare(e, r, sin, cos, most)
	}
	if e.shape == cellBox {
		w.ofBox(e, r, asin, math.Abs(cos), most)
		// N cos φ dλ is the way east, and the convergence sin φ dλ: no pole is in the way.
		w.own = e.halfN*math.Abs(r.kappa)*asin + math.Abs(e.midE*r.kappa*cos-e.sinLat*e.halfLon)
		w.rest += most*e.halfN*e.halfLon*min(1, math.Abs(e.sinLat)+e.halfLat) + e.halfLon*e.cosLat*e.halfLat
		return true
	}
	n, ok := e.northOver()
	north := n.most * e.reachM // turns so much along a straight way
	w.along, w.across = e.reachM, e.reachM
	w.own = e.reachM * math.Hypot(r.kappa*asin, r.kappa*cos-n.tan)
	w.spread = e.reachM * (r.spread + math.Abs(n.tan)*wgsF)
	w.rest = e.reachM * (r.change + n.change + (most+n.most)*north)
	w.perH = e.reachM * most
	return ok
}

// ofBox fills in what cells and squares have in common.
func (w *swing) ofBox(e *End, r *rates, asin, acos, most float64) {
	w.box = 1
	w.along, w.across = e.halfN*acos+e.halfE*asin, e.halfN*asin+e.halfE*acos
	w.spread, w.rest = w.across*r.spread, w.across*r.change
	w.perH, w.perH2 = most*w.along, most*e.halfE*acos/2
}

// ofSquare is of for an MGRS square; sin and cos are of the heading against its own north.
func (w *swing) ofSquare(e *End, r *rates, sin, cos, most float64) (ok bool) {
	w.ofBox(e, r, math.Abs(sin), math.Abs(cos), most)
	n, ok := e.northOver()
	// Where UTM is defined grid north turns by sin φ dλ, but for the 0.001 degree of e.turned.
	w.axes = 1.1*(n.most+0.1/wgsA)*e.reachM + 4e-5
	s, c := math.Sincos(e.turned)
	w.own = e.halfN*math.Abs(r.kappa*sin+n.tan*s) + e.halfE*math.Abs(r.kappa*cos-n.tan*c)
	w.spread += (e.halfN + e.halfE) * math.Abs(n.tan) * wgsF
	w.rest += (e.halfN + e.halfE) * (n.change + n.most*w.axes)
	return ok
}

// northing is tan φ / N of an area's middle, how it changes within reach, and the most it is.
type northing struct{ tan, change, most float64 }

// northOver is not ok all but at a pole.
func (e *End) northOver() (n northing, ok bool) {
	t := math.Abs(e.tanLat)
	d := e.reachM * (1 / smallestRadius)
	td := d * (1 + d*d)
	if d > 0.2 || t*td > 0.5 {
		return n, false
	}
	n.tan, n.change = e.tanLat*(1/wgsA), td*(1+t*t)/(1-t*td)*(1/wgsA) // the theorem of addition
	n.most = t*(1/wgsA) + n.change
	return n, true
}

// heading is how far the heading turns by where in this area it begins, if it turns by no
// more than h in all.
func (w *swing) heading(h float64) float64 {
	h += w.axes
	return w.own + w.spread + (w.rest+(w.perH+w.perH2*h)*h)/2
}

// seen is the same by where in this area it ends, if the heading there turns by h at most.
func (w *swing) seen(h float64, r *rates) float64 {
	more := w.box * (h + w.axes) * w.along
	return w.across*r.perM + (w.across*r.morePerM+more*r.perM)/2 + more*r.morePerM/3
}

// length is how far the area changes the line's length.
func (w *swing) length(h float64) float64 { return w.along + w.box*(h+w.axes)*w.across/2 }

// enclosed gives the enclosure and how many times the first order it is, 1 where that is
// tight; not closed, that is infinite.
func (l *Line) enclosed(a, b *End) (Bound, float64) {
	var r rates
	var wa, wb swing
	reach := a.reachM + b.reachM
	if !r.of(l.DistanceM, reach) || !wa.of(a, l.HeadingDeg, &r) || !wb.of(b, l.BackHeadingDeg, &r) {
		return Bound{}, math.Inf(1)
	}
	firstA, firstB := wa.own+wb.across*r.plainPerM, wb.own+wa.across*r.plainPerM
	ha, hb := 1.1*(firstA+wa.spread), 1.1*(firstB+wb.spread)
	for range 4 {
		ga, gb := fine*(wa.heading(ha)+wb.seen(hb, &r)), fine*(wb.heading(hb)+wa.seen(ha, &r))
		if ga > ha || gb > hb {
			if ha, hb = 1.15*max(ga, ha), 1.15*max(gb, hb); ha > 1 || hb > 1 {
				break
			}
			continue
		}
		if ga > 1.02*firstA || gb > 1.02*firstB { // what is proved may be put in
			ha, hb = ga, gb
			ga, gb = fine*(wa.heading(ha)+wb.seen(hb, &r)), fine*(wb.heading(hb)+wa.seen(ha, &r))
		}
		const degree = 180 / math.Pi
		along := wa.along + wb.along
		d := min(reach, fine*(wa.length(ga)+wb.length(gb)))
		bound := Bound{d, ga * degree, gb * degree}
		if ga <= tight*firstA+unseen && gb <= tight*firstB+unseen && d <= tight*along {
			return bound, 1
		}
		return bound, max(ga/firstA, gb/firstB, d/along)
	}
	return Bound{}, math.Inf(1)
}
