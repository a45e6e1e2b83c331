package grid

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestCellNeighbours(t *testing.T) {
	for _, c := range []struct {
		of          string
		north, east int
		want        string
	}{
		{"FG69", 1, 0, "FH60"}, {"FG69", 0, 1, "FG79"}, {"FG69", -1, -1, "FG58"}, {"AA00", 0, -1, "RA90"}, {"RR99", 0, 1, "AR09"},
		{"RR99", 1, 0, ""}, {"AA00", -1, 0, ""}, {"JJ00aa", -1, -1, "II99xx"}, {"FG69gu18", 0, 1, "FG69gu28"}, {"FG69gu99xx", 1, 1, "FG69hv00aa"}, {"JN", 1, 0, "JO"},
	} {
		cell, err := Parse(c.of)
		if err != nil {
			t.Fatal(err)
		}
		got, ok := cell.Neighbour(c.north, c.east)
		if ok != (c.want != "") || ok && got.Locator() != c.want {
			t.Errorf("%s %d %d: %s, %v", c.of, c.north, c.east, got.Locator(), ok)
		}
		if want, _ := Parse(c.want); ok && got != want {
			t.Errorf("%s: %+v, want %+v", c.of, got, want)
		}
	}
}

// Law: no place of the cell's sides is nearer than the border; a little beyond it is the
// cell beyond.
func TestBorderIsNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPoint(t)
		c := p.Cell(2 + 2*rapid.IntRange(0, 4).Draw(t, "pairs"))
		got := c.Border(p)
		for _, q := range ends(c) {
			if abs(q.lat) == maxLat || abs(q.lat) == maxLat-1 {
				continue // the pole is no border
			}
			if d := distance(p, q); d < got.DistanceM-0.001 {
				t.Fatalf("%v in %s: %+v, but %v is %g m off", p, c.Locator(), got, q, d)
			}
		}
		if lat, _ := p.LatLon(); math.Abs(lat) > 89 || got.DistanceM < 0.1 { // at a corner the next step may be across two borders
			return
		}
		beyond, err := Direct(p, got.HeadingDeg, got.DistanceM+0.01)
		if err != nil || c.length < 10 && !got.Beyond.Contains(beyond) && beyond.Cell(c.length) != got.Beyond {
			t.Fatalf("%v in %s: %+v, but there is %s", p, c.Locator(), got, beyond.Locator(c.length))
		}
	})
}
