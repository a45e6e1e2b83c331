package grid

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestDegreesRefuses(t *testing.T) {
	for _, c := range [][2]float64{
		{math.NaN(), 0}, {0, math.NaN()}, {math.Inf(1), 0}, {0, math.Inf(-1)},
		{90.000001, 0}, {-90.000001, 0}, {0, 180.000001}, {0, -180.000001}, {1e300, 1e300},
	} {
		if p, err := Degrees(c[0], c[1]); err == nil {
			t.Errorf("Degrees(%v, %v) = %v, want an error", c[0], c[1], p)
		}
	}
}

func TestMinutesRefuses(t *testing.T) {
	const deg = 60 * 10_000_000
	for _, c := range [][2]int64{
		{90*deg + 1, 0}, {-90*deg - 1, 0}, {0, 180*deg + 1}, {0, -180*deg - 1},
		{math.MaxInt64, 0}, {0, math.MinInt64},
	} {
		if p, err := Minutes(c[0], c[1]); err == nil {
			t.Errorf("Minutes(%d, %d) = %v, want an error", c[0], c[1], p)
		}
	}
}

func TestNeighbours(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, n := drawPoint(t), drawLength(t)
		cell := p.Cell(n)
		h, w := cell.size()
		east := cell.lon + w
		if last := newPoint(cell.lat, east-1); !cell.Contains(last) || last.Cell(n) != cell {
			t.Errorf("%s lacks its last point eastward", cell.Locator())
		}
		next := newPoint(cell.lat, east) // +180 becomes −180
		if cell.Contains(next) || !next.Cell(n).Contains(next) {
			t.Errorf("%s contains its neighbour's first point", cell.Locator())
		}
		if east < maxLon && next.Cell(n).West != cell.East {
			t.Errorf("gap east of %s", cell.Locator())
		}
		north := newPoint(cell.lat+h, cell.lon)
		if at := north.Cell(n); north.lat < maxLat {
			if cell.Contains(north) || at.South != cell.North {
				t.Errorf("gap north of %s", cell.Locator())
			}
		} else if at != cell {
			t.Errorf("the pole above %s lies in %s", cell.Locator(), at.Locator())
		}
	})
}

func TestMinutesAgreeWithDegrees(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Multiples of 6e-7 minutes are multiples of 1e-8 degrees: both exact.
		la := rapid.Int64Range(-90e8, 90e8).Draw(t, "lat e8")
		lo := rapid.Int64Range(-180e8, 180e8).Draw(t, "lon e8")
		m, err := Minutes(la*6, lo*6)
		if err != nil {
			t.Fatal(err)
		}
		d, err := Degrees(float64(la)/1e8, float64(lo)/1e8)
		if err != nil {
			t.Fatal(err)
		}
		if m != d {
			t.Errorf("%v from minutes, %v from degrees", m, d)
		}
	})
}

func TestLocatorLength(t *testing.T) {
	for _, c := range []struct {
		accuracy, lat float64
		want          int
	}{
		{math.NaN(), 0, 0}, {-1, 0, 0}, {math.Inf(1), 0, 0}, {1, 91, 0}, {1, math.NaN(), 0}, {600e3, 0, 0}, {8, 90, 0},
		{0, 0, 10}, {8, 0, 10}, {8, -20.13, 10}, {8, 60, 10}, {8, 65, 10}, {8, 67, 8}, {8, -67, 8}, {9.59, 0, 10}, {9.61, 0, 8},
		{100, 0, 8}, {230, 0, 8}, {231, 0, 6}, {2300, 0, 6}, {2310, 0, 4}, {55e3, 0, 4}, {56e3, 0, 2},
	} {
		if got := LocatorLength(c.accuracy, c.lat); got != c.want {
			t.Errorf("LocatorLength(%v, %v) = %d, want %d", c.accuracy, c.lat, got, c.want)
		}
	}
}

func TestCellSize(t *testing.T) {
	for _, c := range []struct {
		lat           float64
		n             int
		width, height float64
		tol           float64
	}{
		{0, 10, 38.7, 19.2, 0.06}, {45, 10, 27.4, 19.3, 0.06}, {60, 10, 19.4, 19.3, 0.06},
		{0, 8, 928, 461, 0.6}, {45, 8, 657, 463, 0.6}, {60, 8, 465, 464, 0.6},
		{0, 6, 9277, 4607, 1}, {60, 6, 4650, 4642, 4}, // width there along the southern edge, here in the middle
	} {
		h, w := mustDegrees(t, c.lat, 10).Cell(c.n).Size()
		if math.Abs(h-c.height) > c.tol || math.Abs(w-c.width) > c.tol {
			t.Errorf("%v° %d: %.2f × %.2f m, want %v × %v", c.lat, c.n, w, h, c.width, c.height)
		}
	}
}

// ParseEnd is ParsePlace and End.
func TestParseEnd(t *testing.T) {
	for _, text := range []string{"-20.13,-67.49", "FG69", "FG69gu18", "rr99xx", "19KEU4400073000", "19K 544000 7773000", "geo:-20.13,-67.49;u=9", "20°07.8'S 67°29.4'W", " FG69 ", "", "FG6X", "48,5 11", "Base"} {
		var got End
		note, err := ParseEnd(text, &got)
		place, wantErr := ParsePlace(text)
		want := place.End()
		if err != nil && wantErr != nil {
			if err.Error() != wantErr.Error() {
				t.Errorf("%q: %v, want %v", text, err, wantErr)
			}
			continue
		}
		if err != nil || wantErr != nil || got != want || note != place.Note {
			t.Errorf("%q: %+v, %q, %v; want %+v, %q, %v", text, got, note, err, want, place.Note, wantErr)
		}
	}
}
