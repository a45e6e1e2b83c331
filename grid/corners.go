package grid

import "math"

// joined is what the arcs between all corners of two outlines have in common.
type joined struct {
	a, b          *outline
	arcs          [maxCorners][maxCorners]arc
	nearI, nearJ  int
	farI, farJ    int
	nearest, most float64 // over the semi-minor axis
	least         float64 // sin σ
	longest       float64 // σ
}

func (g *joined) join(rounds int) {
	g.nearest, g.least = math.Inf(1), math.Inf(1)
	for i := range g.a.n {
		for j := range g.b.n {
			p := &g.arcs[i][j]
			*p = g.a.corners[i].arcTo(&g.b.corners[j], rounds)
			if p.length < g.nearest {
				g.nearest, g.nearI, g.nearJ = p.length, i, j
			}
			if p.length > g.most {
				g.most, g.farI, g.farJ = p.length, i, j
			}
			g.least, g.longest = min(g.least, p.sin), max(g.longest, p.sigma)
		}
	}
}

// outlineBound is the bound of a line of distanceM between the middles of a and b, toward
// headingDeg and back.
func (l *Line) outlineBound(a, b *End) Bound {
	var as, bs outline
	a.outline(&as)
	b.outline(&bs)
	g := joined{a: &as, b: &bs}
	rounds := 2
	if l.DistanceM > wgsA*math.Pi/3 {
		rounds = 4
	}
	g.join(rounds)
	reach := a.reachM + b.reachM
	d := max(g.farthest()*(wgsA/stretch)-l.DistanceM, l.DistanceM-g.closest()*(wgsA/stretch)) + lengthSlack*(l.DistanceM+reach)
	bound := Bound{DistanceM: min(reach, d)}
	if a.overlaps(b, l.DistanceM) {
		return Bound{max(bound.DistanceM, min(l.DistanceM, reach)), any180, any180}
	}
	slack := 2*azimuthSlack*g.longest/g.least + wgsF*reach*reach*(1/wgsA/wgsA)
	const degree = 180 / math.Pi
	bound.HeadingDeg = min(any180, (g.turns(l.HeadingDeg)+slack)*degree)
	bound.BackHeadingDeg = min(any180, (g.turnsBack(l.BackHeadingDeg)+slack)*degree)
	if a.holdsPole() {
		bound.HeadingDeg = any180
	}
	if b.holdsPole() {
		bound.BackHeadingDeg = any180
	}
	return bound
}

// holdsPole: there all directions are one. A cell ends at it with its own meridians.
func (e *End) holdsPole() bool {
	return e.shape == circle && e.reachM >= smallestRadius*(math.Pi/2-math.Abs(e.lat)*(math.Pi/180))
}

// turns is how far the headings at the first outline turn from headingDeg, radians.
func (g *joined) turns(headingDeg float64) float64 {
	t := turning{}
	t.sin, t.cos = math.Sincos(headingDeg * (math.Pi / 180))
	for j := range g.b.n {
		for i := range g.a.n {
			p, q := &g.arcs[i][j], &g.arcs[(i+1)%g.a.n][j]
			c, d := &g.a.corners[i], &g.a.corners[(i+1)%g.a.n]
			t.side(t.angle(p.n, p.e), t.angle(q.n, q.e), p.rate(c, p.n, p.e, c.next), q.rate(d, q.n, q.e, d.before), c.next.arc)
		}
	}
	return t.most
}

// turnsBack is the same at the second outline.
func (g *joined) turnsBack(headingDeg float64) float64 {
	t := turning{}
	t.sin, t.cos = math.Sincos(headingDeg * (math.Pi / 180))
	for i := range g.a.n {
		for j := range g.b.n {
			p, q := &g.arcs[i][j], &g.arcs[i][(j+1)%g.b.n]
			c, d := &g.b.corners[j], &g.b.corners[(j+1)%g.b.n]
			t.side(t.angle(p.backN, p.backE), t.angle(q.backN, q.backE), p.rate(c, p.backN, p.backE, c.next), q.rate(d, q.backN, q.backE, d.before), c.next.arc)
		}
	}
	return t.most
}

// turning finds the largest angle from a heading.
type turning struct{ sin, cos, most float64 }

// angle is how far the direction lies to the right of the heading, −π to π.
func (t *turning) angle(n, e float64) float64 {
	return math.Atan2(e*t.cos-n*t.sin, n*t.cos+e*t.sin)
}

// side takes in a side of an outline: the angles at its ends, how fast they grow along it
// from each, and its length. Where they grow, or fall, from both ends, the extreme is between.
func (t *turning) side(at, next, rate, rateBack, arc float64) {
	rise := 0.0
	if rate*rateBack > 0 {
		rise = arc * rate * rateBack / (rate + rateBack)
	}
	t.most = max(t.most, max(at, next)+max(rise, 0), max(-at, -next)+max(-rise, 0))
}

// farthest is the length of the longest line between the outlines, over the semi-minor axis.
func (g *joined) farthest() float64 {
	p := &g.arcs[g.farI][g.farJ]
	if p.sigma <= math.Pi/2 {
		return g.most
	}
	return g.most + g.more(p, g.farI, g.farJ, -1, -p.cos/p.sin)
}

// closest is that of the shortest.
func (g *joined) closest() float64 {
	p := &g.arcs[g.nearI][g.nearJ]
	if p.sin == 0 {
		return 0
	}
	dip := g.more(p, g.nearI, g.nearJ, 1, 1/g.nearest)
	if dip > g.nearest/2 {
		return 0
	}
	return g.nearest - g.more(p, g.nearI, g.nearJ, 1, 1/(g.nearest-dip))
}

// more is how much shorter (sign 1) or longer (−1) a line between the sides that meet at two
// corners can be than the one between these: no more than by its rates there, nor than by half
// the sides at the rate's own change. It is nothing where all rates go the other way.
func (g *joined) more(p *arc, i, j int, sign, change float64) float64 {
	c, d := &g.a.corners[i], &g.b.corners[j]
	byA := max(0, sign*p.nearer(p.n, p.e, c.next)*c.next.arc, sign*p.nearer(p.n, p.e, c.before)*c.before.arc)
	byB := max(0, sign*p.nearer(p.backN, p.backE, d.next)*d.next.arc, sign*p.nearer(p.backN, p.backE, d.before)*d.before.arc)
	sides := g.a.longest + g.b.longest
	return min(byA+byB, sides*sides/8*max(change, 0))
}
