package grid

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

// drawn is an area of random kind and size, with points in it.
type drawn struct {
	name string
	end  End
	at   func(r *rand.Rand, edge bool) Point // a point of it; on its edge
	rim  []Point
}

// drawArea draws one anywhere, or near another, or near the place opposite to another.
func drawArea(r *rand.Rand, near *drawn, opposite bool) drawn {
	p := newPoint(int64((r.Float64()*2-1)*maxLat), int64((r.Float64()*2-1)*(maxLon-1)))
	if r.IntN(2) == 0 { // as many a square kilometre everywhere
		p.lat = int64(math.Asin(r.Float64()*2-1) / radian)
	}
	if near != nil {
		p, _ = Direct(near.end.p, r.Float64()*360, near.end.reachM*math.Exp(r.Float64()*5))
		if opposite {
			p = newPoint(-p.lat, wrapLon(p.lon+maxLon))
		}
	}
	switch k := r.IntN(8); {
	case k == 0:
		return drawn{p.Decimal(), EndOf(p, 0), func(*rand.Rand, bool) Point { return p }, []Point{p}}
	case k == 1:
		reach := math.Exp(r.Float64() * 12)
		d := drawn{name: p.Geo(reach), end: EndOf(p, reach)}
		d.at = func(r *rand.Rand, edge bool) Point {
			m := reach
			if !edge {
				m *= math.Sqrt(r.Float64())
			}
			to, _ := Direct(p, r.Float64()*360, m*(1-1e-9))
			return to
		}
		for i := range 16 {
			to, _ := Direct(p, float64(i)*22.5, reach*(1-1e-9))
			d.rim = append(d.rim, to)
		}
		return d
	case k == 2:
		if d, ok := drawSquare(r, p); ok {
			return d
		}
	}
	c := p.Cell(2 + 2*r.IntN(5))
	d := drawn{name: c.Locator(), end: c.End(), rim: ends(c)}
	d.at = func(r *rand.Rand, edge bool) Point {
		h, w := c.size()
		y, x := int64(r.Float64()*float64(h)), int64(r.Float64()*float64(w))
		if edge && r.IntN(2) == 0 {
			y = (h - 1) * int64(r.IntN(2))
		} else if edge {
			x = (w - 1) * int64(r.IntN(2))
		}
		return newPoint(c.lat+y, c.lon+x)
	}
	return d
}

// drawSquare is the MGRS square of some size at p.
func drawSquare(r *rand.Rand, p Point) (d drawn, ok bool) {
	text, ok := p.MGRS()
	if !ok {
		return d, false
	}
	digits := r.IntN(6)
	place, err := ParsePlace(text[:5+digits] + text[10:10+digits])
	if err != nil {
		return d, false
	}
	u, _ := p.toUTM()
	side := math.Pow10(5 - digits)
	u.east, u.north = math.Floor((u.east+u.nearness())/side)*side, math.Floor((u.north+u.nearness())/side)*side
	d = drawn{name: text, end: place.End()}
	point := func(x, y float64) Point {
		v := u
		v.east, v.north = u.east+x*side, u.north+y*side
		to, _ := v.point()
		return to
	}
	d.at = func(r *rand.Rand, edge bool) Point {
		x, y := r.Float64(), r.Float64()
		if edge {
			x = math.Round(x)
		}
		return point(x, y)
	}
	for i := range 5 {
		for k := range 5 {
			if i%4 == 0 || k%4 == 0 {
				d.rim = append(d.rim, point(float64(i)/4, float64(k)/4))
			}
		}
	}
	return d, true
}

// The bound of random areas is never below what sampled points show, and little above what
// the farthest points of their rims do. NOONMARK_TEST_BOUNDS asks for more pairs of points
// than the few here: 1000000 takes some minutes.
func TestBoundIsJust(t *testing.T) {
	points := 10_000
	if testing.Short() {
		points = 2_000
	}
	if text := os.Getenv("NOONMARK_TEST_BOUNDS"); text != "" {
		points, _ = strconv.Atoi(text)
	}
	const each = 20 // pairs of points for a pair of areas
	r := rand.New(rand.NewPCG(4, 17))
	var distances, headings, ratioD, ratioH, worst float64
	below, any, needless := 0, 0.0, 0.0
	for i := range points / each {
		a := drawArea(r, nil, false)
		b := drawArea(r, nil, false)
		if i%8 < 2 && a.end.reachM > 0 {
			b = drawArea(r, &a, i%8 == 1)
		}
		mid, bound := Between(a.end, b.end)
		said := false
		check := func(p, q Point) (d, h, back float64) {
			l := Inverse(p, q)
			d, h, back = math.Abs(l.DistanceM-mid.DistanceM), turn(l.HeadingDeg, mid.HeadingDeg), turn(l.BackHeadingDeg, mid.BackHeadingDeg)
			const grain = 3e-4 // of headings and metres
			if over := d > bound.DistanceM+grain || p != q && l.DistanceM > 1 && (h > bound.HeadingDeg+1e-6 || back > bound.BackHeadingDeg+1e-6); over {
				if below++; !said && below < 1000 { // one for a pair of areas
					said = true
					t.Errorf("%s to %s, %.0f m: ± %.9g m, %.9g, %.9g degrees; but %s to %s: %.9g m, %.9g, %.9g degrees off", a.name, b.name, mid.DistanceM,
						bound.DistanceM, bound.HeadingDeg, bound.BackHeadingDeg, p.Decimal(), q.Decimal(), d, h, back)
				}
			}
			return d, h, back
		}
		for range each {
			check(a.at(r, r.IntN(2) == 0), b.at(r, r.IntN(2) == 0))
		}
		var d, h, back float64
		for _, p := range a.rim {
			for _, q := range b.rim {
				d1, h1, b1 := check(p, q)
				d, h, back = max(d, d1), max(h, h1), max(back, b1)
			}
		}
		if d > 0.001 {
			distances, ratioD = distances+1, ratioD+bound.DistanceM/d
		}
		if bound.HeadingDeg == 180 {
			any++
			if h < 60 {
				needless++
			}
		}
		if bound.HeadingDeg < 180 && h > 1e-6 {
			headings, ratioH, worst = headings+1, ratioH+bound.HeadingDeg/h, max(worst, bound.HeadingDeg/h)
		}
		if bound.BackHeadingDeg < 180 && back > 1e-6 {
			headings, ratioH = headings+1, ratioH+bound.BackHeadingDeg/back
		}
	}
	t.Logf("%d pairs of points, and all of the rims: %d beyond the bound; it is %.4f times the truth for %.0f distances, %.4f for %.0f headings (at most %.2f)",
		points, below, ratioD/distances, distances, ratioH/headings, headings, worst)
	t.Logf("%.0f headings are said to be any, of which %.0f turn by less than 60 degrees", any, needless)
	// Of few headings a single one with 3 times the truth counts.
	if few := 100 / headings; ratioD/distances > 1.05 || ratioH/headings > 1.05+few {
		t.Error("more than 1.05 times the truth")
	}
}

// Between the corners of an outline the heading can turn farther than at them, above all toward
// the poles, where north turns along a side: dense points of the sides show it.
func TestOutlineBetweenCorners(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 17))
	for range 200 {
		a := newPoint(int64((50+39*r.Float64())*unitsPerDegree), int64((r.Float64()*2-1)*(maxLon-1))).Cell(2 + 2*r.IntN(2))
		to, _ := Direct(a.Center(), r.Float64()*360, a.Reach()*(1.5+8*r.Float64()))
		ea, eb := a.End(), EndOf(to, 0)
		l := Inverse(a.Center(), to)
		bound := l.outlineBound(&ea, &eb)
		h, w := a.size()
		const n = 24
		for i := range n + 1 {
			for _, side := range [4][2]int64{{0, int64(i)}, {n, int64(i)}, {int64(i), 0}, {int64(i), n}} {
				p := newPoint(a.lat+(h-1)*side[0]/n, a.lon+(w-1)*side[1]/n)
				if d := turn(Inverse(p, to).HeadingDeg, l.HeadingDeg); d > bound.HeadingDeg+1e-6 {
					t.Errorf("%s to %s: ± %.6f, but %.6f from %s", a.Locator(), to.Decimal(), bound.HeadingDeg, d, p.Decimal())
					return
				}
			}
		}
	}
}
