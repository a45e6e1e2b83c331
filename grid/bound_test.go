package grid

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// ends gives points of a cell: its corners, the middles of its sides, and points
// between; north and east borders a unit inside.
func ends(c Cell) (points []Point) {
	h, w := c.size()
	for i := range int64(5) {
		for j := range int64(5) {
			if i%4 == 0 || j%4 == 0 {
				points = append(points, newPoint(c.lat+(h-1)*i/4, c.lon+(w-1)*j/4))
			}
		}
	}
	return points
}

// No point of a cell is farther from its centre than Reach says, and the corner
// nearest to the equator is nearly so far. The field rows: all of them; distances
// by the geodesic library.
func TestReach(t *testing.T) {
	for n := 2; n <= 10; n += 2 {
		for lat := -89.999; lat < 90; lat += 0.7 {
			c := mustDegrees(t, lat, 10).Cell(n)
			farthest := 0.0
			for _, p := range ends(c) {
				farthest = max(farthest, distance(c.Center(), p))
			}
			if reach := c.Reach(); farthest > reach || n > 2 && math.Abs(lat) < 80 && reach > 1.03*farthest {
				t.Errorf("%s: %.3f m, its farthest point at %.3f m", c.Locator(), reach, farthest)
			}
		}
	}
}

// Law: for any two cells, no line between any of their points is farther off the
// line of the centres than its bound.
func TestBoundHoldsForAllCorners(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawPoint(t).Cell(drawLength(t)), drawPoint(t).Cell(drawLength(t))
		if rapid.Bool().Draw(t, "near") { // else the two hardly ever are
			h, w := b.size()
			b = newPoint(max(-maxLat, min(maxLat, a.lat+h*rapid.Int64Range(-9, 9).Draw(t, "north"))),
				wrapLon(a.lon+w*rapid.Int64Range(-9, 9).Draw(t, "east"))).Cell(b.length)
		}
		checkBound(t, a, b)
	})
}

func wrapLon(lon int64) int64 {
	return ((lon+maxLon)%(2*maxLon)+2*maxLon)%(2*maxLon) - maxLon
}

type failer interface {
	Errorf(format string, args ...any)
}

// checkBound compares all lines between the ends of a and b with the bound of the
// line between their centres, and gives the largest parts of it that they use.
func checkBound(t failer, a, b Cell) (distancePart, headingPart float64) {
	mid, bound := Between(EndOf(a.Center(), a.Reach()), EndOf(b.Center(), b.Reach()))
	for _, p := range ends(a) {
		for _, q := range ends(b) {
			if p == q {
				continue
			}
			l := Inverse(p, q)
			dist, head, back := math.Abs(l.DistanceM-mid.DistanceM), turn(l.HeadingDeg, mid.HeadingDeg), turn(l.BackHeadingDeg, mid.BackHeadingDeg)
			if dist > bound.DistanceM || head > bound.HeadingDeg || back > bound.BackHeadingDeg {
				t.Errorf("%s %s: %+v ± %+v, but %v %v: %+v", a.Locator(), b.Locator(), mid, bound, p, q, l)
				return
			}
			distancePart = max(distancePart, dist/bound.DistanceM)
			headingPart = max(headingPart, head/bound.HeadingDeg, back/bound.BackHeadingDeg)
		}
	}
	return distancePart, headingPart
}

// A bound of everything would hold too: in ordinary cases at least half of it is
// used by some corner.
func TestBoundIsTight(t *testing.T) {
	for _, c := range [][2]string{
		{"FG69", "FF46"}, {"FG69", "JN58"}, {"FG69gu", "FG68"}, {"IO91", "KP20"}, {"IO91wm", "KP20le"}, {"FG69gu18", "FG69gu92"}, {"FG", "JN"},
	} {
		a, _ := Parse(c[0])
		b, _ := Parse(c[1])
		if d, h := checkBound(t, a, b); d < 0.5 || h < 0.5 {
			t.Errorf("%s %s: of the bounds only %.2f and %.2f are used", c[0], c[1], d, h)
		}
	}
}

func TestBoundOfExactPlaces(t *testing.T) {
	for _, to := range [][2]float64{{-20.13, -67.49}, {20.13, 112.51}} {
		if _, got := Between(EndOf(mustDegrees(t, -20.13, -67.49), 0), EndOf(mustDegrees(t, to[0], to[1]), 0)); got != (Bound{0, 180, 180}) {
			t.Errorf("to itself or its antipode: %+v", got)
		}
	}
	a, b := mustDegrees(t, -20.13, -67.49), mustDegrees(t, 90, 0)
	if l, got := Between(EndOf(a, 0), EndOf(b, 0)); got != (Bound{}) || l != Inverse(a, b) {
		t.Errorf("%+v ± %+v", l, got)
	}
	if _, got := Between(EndOf(a, 0), EndOf(b, 100)); got.BackHeadingDeg != 180 || got.HeadingDeg > 0.01 {
		t.Errorf("from the pole: %+v", got)
	}
	if _, got := Between(EndOf(a, 0), EndOf(a, 10)); got.HeadingDeg != 180 || got.DistanceM != 10 {
		t.Errorf("within the area: %+v", got)
	}
}
