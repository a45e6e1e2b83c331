package grid

import "math"

// Neighbour is the cell of the same size so many cells to the north and to the east
// (negative: south, west), round the Earth; not ok beyond a pole.
func (c Cell) Neighbour(north, east int) (Cell, bool) {
	h, w := c.size()
	if h == 0 {
		return Cell{}, false
	}
	y, x := c.lat+int64(north)*h, c.lon+int64(east)*w
	if y < -maxLat || y >= maxLat {
		return Cell{}, false
	}
	x = ((x+maxLon)%(2*maxLon) + 2*maxLon) % (2 * maxLon)
	return newCell(x/cellLon, (y+maxLat)/cellLat, c.length), true
}

// Border is the way from a place in a cell to the nearest border of the cell.
type Border struct {
	DistanceM  float64
	HeadingDeg float64 // toward it; 0 or 180 toward a parallel
	Side       string  // "north", "east", "south" or "west"
	Beyond     Cell    // the cell beyond; the zero Cell at a pole, which is no border
}

// Border gives the nearest border from p, which lies in c. A parallel is nearest due north
// or south; on a meridian the nearest point is looked for along the cell's side.
func (c Cell) Border(p Point) Border {
	h, w := c.size()
	east := abs(c.lon + w - p.lon)
	best := Border{DistanceM: math.Inf(1)}
	for _, side := range []struct {
		name        string
		north, east int
		lat, lon    int64
	}{{"north", 1, 0, c.lat + h, p.lon}, {"south", -1, 0, c.lat, p.lon}, {"east", 0, 1, p.lat, p.lon + east}, {"west", 0, -1, p.lat, c.lon}} {
		beyond, ok := c.Neighbour(side.north, side.east)
		if !ok {
			continue
		}
		l := c.toward(p, side.lat, side.lon, side.north == 0)
		if l.DistanceM < best.DistanceM {
			best = Border{l.DistanceM, l.HeadingDeg, side.name, beyond}
		}
	}
	return best
}

// toward is the shortest line from p to the point lat, lon of a border, or, where the
// border is a meridian, to any of its points beside the cell (by the golden section).
func (c Cell) toward(p Point, lat, lon int64, meridian bool) Line {
	if lon >= maxLon {
		lon -= 2 * maxLon
	}
	if !meridian {
		return Inverse(p, Point{lat, lon})
	}
	h, _ := c.size()
	g := (math.Sqrt(5) - 1) / 2
	a, b := float64(c.lat), float64(c.lat+h)
	at := func(v float64) Line { return Inverse(p, Point{int64(v), lon}) }
	for range 60 {
		if x, y := b-g*(b-a), a+g*(b-a); at(x).DistanceM < at(y).DistanceM {
			b = y
		} else {
			a = x
		}
	}
	return at((a + b) / 2)
}
