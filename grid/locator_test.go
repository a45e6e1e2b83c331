package grid

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// readTable gives the rows of a reference table without its heading, and fails
// if there are not want of them: a table that is not read proves nothing.
func readTable(t *testing.T, name string, want int) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "grid", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if rows = rows[1:]; len(rows) != want {
		t.Fatalf("%s: %d rows, want %d", name, len(rows), want)
	}
	return rows
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func mustDegrees(t testing.TB, lat, lon float64) Point {
	t.Helper()
	p, err := Degrees(lat, lon)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		in     string
		offset int
	}{
		{"", 0}, {"F", 1}, {"FG6", 3}, {"FG69g", 5}, {"FG69gu1", 7}, {"FG69gu18x", 9},
		{"SG69", 0}, {"FS69", 1}, {"1G69", 0}, {"FGA9", 2}, {"FG6A", 3}, {"FG69yu", 4}, {"FG69gy", 5},
		{"FG69gu1x", 7}, {"FG69gu18ya", 8}, {"FG69gu18a1", 9}, {"FG69gu18aa00", 10},
		{" FG69", 0}, {"FG69 ", 4}, {"FG-9", 2}, {"FG69é", 4}, {"FG\x00", 2}, {"@A00", 0}, {"[A00", 0}, {"FG69\xff\xff", 4},
		{"FG6/", 3}, {"FG6:", 3}, {"FG69`a", 4}, {"fG69{a", 4},
	} {
		cell, err := Parse(c.in)
		var se *SyntaxError
		if !errors.As(err, &se) {
			t.Errorf("Parse(%q) = %v, %v; want a SyntaxError", c.in, cell, err)
		} else if se.Offset != c.offset {
			t.Errorf("Parse(%q): offset %d, want %d (%v)", c.in, se.Offset, c.offset, err)
		}
	}
}

// Source: testdata/grid/locators.csv, exact rational arithmetic, repeated by
// testdata/grid/locators.py in another language (Python's fractions).
func TestLocatorTable(t *testing.T) {
	for _, row := range readTable(t, "locators.csv", 373) {
		p := mustDegrees(t, number(t, row[0]), number(t, row[1]))
		for i, want := range row[2:] {
			if got := p.Locator(4 + 2*i); got != want {
				t.Errorf("%s, %s: %s, want %s", row[0], row[1], got, want)
			}
		}
	}
}

// Points that are published as examples, on an encyclopedia's page about the locator
// system, in manuals of open-source libraries, and on a locator page. The source of the
// values is the rule (IARU, Maidenhead 1980) in exact rational arithmetic, as in
// testdata/grid/locators.py. Two manuals print
// a wrong sixth pair (FN22cd, KP21le); what stands here is the exact value.
// The border cases follow from the definition: half-open cells.
func TestLocatorPublished(t *testing.T) {
	for _, c := range []struct {
		lat, lon float64
		want     string
	}{
		{48.14666, 11.60833, "JN58td25"},
		{-34.91, -56.21166, "GF15vc41"},
		{38.92, -77.065, "FM18lw20"},
		{-41.28333, 174.745, "RE78ir92"},
		{41.714775, -72.727260, "FN31pr21"},
		{37.413708, -122.1073236, "CM87wj79"},
		{35.0542, -85.1142, "EM75kb63"},
		{24.18170556, 120.86603889, "PL04ke33wo"},
		{40.363840, -111.866785, "DN40bi57xh"},
		{42.481076, -75.037847, "FN22ll"},
		{36.75, -119.5, "DM06gs"},
		{60.179, 24.945, "KP20le"},
		{64.4720209, 39.9576370, "KP94xl43vg"}, // 0.11 m below a border
		{0, 0, "JJ00aa00aa"},
		{0, -1e-9, "IJ90xa90xa"},
		{-1e-9, 0, "JI09ax09ax"},
		{0, 180, "AJ00aa00aa"},
		{0, -180, "AJ00aa00aa"},
		{0, 179.999999999, "RJ90xa90xa"},
		{90, 0, "JR09ax09ax"},
		{90, 180, "AR09ax09ax"},
		{-90, -180, "AA00aa00aa"},
		{-90, 179.999999999, "RA90xa90xa"},
		{0.208333333, 0.5, "JJ00ge09ax"}, // just below 5/24, the border of ge and gf
		{9.9999999, 19.9999999, "JJ99xx99xx"},
		{-20.13, -67.49, "FG69gu18"},
	} {
		if got := mustDegrees(t, c.lat, c.lon).Locator(len(c.want)); got != c.want {
			t.Errorf("%v, %v: %s, want %s", c.lat, c.lon, got, c.want)
		}
	}
}

// The lengths between and beyond the legal ones, as documented.
func TestLocatorLengths(t *testing.T) {
	p := mustDegrees(t, -20.13, -67.49)
	for n, want := range map[int]string{
		-2: "", 0: "", 1: "", 2: "FG", 3: "FG", 5: "FG69", 6: "FG69gu", 9: "FG69gu18",
		10: p.Locator(10), 11: p.Locator(10), math.MaxInt32: p.Locator(10),
	} {
		if got := p.Locator(n); got != want {
			t.Errorf("Locator(%d) = %q, want %q", n, got, want)
		}
	}
	if len(p.Locator(10)) != 10 {
		t.Errorf("Locator(10) = %q", p.Locator(10))
	}
}

// Source: south-west corners and centres by exact arithmetic on the published rule (IARU,
// Maidenhead 1980); the Python package maidenhead (github space-physics/maidenhead, commit
// 24c15ff, MIT) gives the same corners and centres to 4e-8 degree.
func TestParsePublished(t *testing.T) {
	for _, c := range []struct {
		in                    string
		south, west, lat, lon float64
	}{
		{"IO91wm", 51.5, -0.1666667, 51.5208333, -0.125},
		{"FN31pr", 41.7083333, -72.75, 41.7291667, -72.7083333},
		{"JN58td", 48.125, 11.5833333, 48.1458333, 11.625},
		{"KN28LH", 48.2916667, 24.9166667, 48.3125, 24.9583333},
		{"BL11bh16", 21.3166667, -157.9083333, 21.31875, -157.9041667},
		{"JO21WA", 51.0, 5.8333333, 51.0208333, 5.875},
		{"jn58", 48, 10, 48.5, 11},
		{"AA00aa", -90, -180, -89.9791667, -179.9583333},
		{"RR99xx", 89.9583333, 179.9166667, 89.9791667, 179.9583333},
		{"JJ00aa", 0, 0, 1.0 / 48, 1.0 / 24},
		{"IJ90xa", 0, -1.0 / 12, 1.0 / 48, -1.0 / 24},
	} {
		cell, err := Parse(c.in)
		if err != nil {
			t.Error(err)
			continue
		}
		lat, lon := cell.Center().LatLon()
		for i, d := range []float64{cell.South - c.south, cell.West - c.west, lat - c.lat, lon - c.lon} {
			if math.Abs(d) > 6e-8 {
				t.Errorf("%s: value %d off by %g degrees: %+v", c.in, i, d, cell)
			}
		}
	}
}

func drawPoint(t *rapid.T) Point {
	lat := rapid.Int64Range(-maxLat, maxLat).Draw(t, "lat")
	lon := rapid.Int64Range(-maxLon, maxLon).Draw(t, "lon")
	if rapid.Bool().Draw(t, "on a border") {
		k := rapid.SampledFrom(levels[:]).Draw(t, "level").steps
		lat -= (lat + maxLat) % (k * cellLat)
		lon -= (lon + maxLon) % (k * cellLon)
		lat = min(max(lat+rapid.Int64Range(-1, 1).Draw(t, "d"), -maxLat), maxLat)
		lon = min(max(lon+rapid.Int64Range(-1, 1).Draw(t, "e"), -maxLon), maxLon)
	}
	return newPoint(lat, lon)
}

func drawLength(t *rapid.T) int { return 2 * rapid.IntRange(1, 5).Draw(t, "pairs") }

// Laws of the locator, on points at random and beside borders.
func TestLocatorLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, n := drawPoint(t), drawLength(t)
		text := p.Locator(n)
		cell, err := Parse(text)
		if err != nil {
			t.Fatalf("%v: %s does not parse: %v", p, text, err)
		}
		if cell != p.Cell(n) {
			t.Errorf("Parse(%s) = %+v, but Cell = %+v", text, cell, p.Cell(n))
		}
		if !cell.Contains(p) {
			t.Errorf("%s does not contain %v", text, p)
		}
		if got := cell.Locator(); got != text {
			t.Errorf("%s came back as %s", text, got)
		}
		if c := cell.Center(); c.Locator(n) != text || !cell.Contains(c) {
			t.Errorf("the centre of %s lies in %s", text, c.Locator(n))
		}
		if upper, err := Parse(strings.ToUpper(text)); err != nil || upper != cell {
			t.Errorf("%s upper: %+v, %v", text, upper, err)
		}
		if lower, err := Parse(strings.ToLower(text)); err != nil || lower != cell {
			t.Errorf("%s lower: %+v, %v", text, lower, err)
		}
		if !strings.HasPrefix(p.Locator(maxLocator), text) {
			t.Errorf("%s is no beginning of %s", text, p.Locator(maxLocator))
		}
	})
}

// Each cell meets its neighbours exactly, also across the antimeridian: the
// point on a border belongs to the next cell, the point one unit before to this.
// An independent way to the same answer: the textbook's repeated division, in
// exact decimal strings of a minute (what a receiver sends) against degrees.
// 8 m is the fix and 19.2 × 38.7 m the cell named by the rule's documentation;
// cell sizes by GeodSolve (GeographicLib 2.1.2) along the cell's sides.
// Sizes by GeodSolve -i (GeographicLib 2.1.2) on WGS 84, published to 0.1 m.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"", "FG69", "fg69gu18aa", "JN58td25xe", "RR99xx99xx", "AA00aa00aa0", "S", "é", "JJ00\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		cell, err := Parse(s)
		if err != nil {
			var se *SyntaxError
			if !errors.As(err, &se) || se.Offset < 0 || se.Offset > len(s) || se.Reason == "" {
				t.Fatalf("Parse(%q): %#v", s, err)
			}
			return
		}
		if !strings.EqualFold(cell.Locator(), s) {
			t.Fatalf("Parse(%q) is %s", s, cell.Locator())
		}
	})
}

func TestAppendLocatorDoesNotAllocate(t *testing.T) {
	p := mustDegrees(t, -20.13, -67.49)
	buf := make([]byte, 0, 16)
	if n := testing.AllocsPerRun(100, func() { buf = p.AppendLocator(buf[:0], 10) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkAppendLocator(b *testing.B) {
	p := mustDegrees(b, -20.13, -67.49)
	buf := make([]byte, 0, 16)
	b.ReportAllocs()
	for b.Loop() {
		buf = p.AppendLocator(buf[:0], 10)
	}
}

func BenchmarkDegreesToLocator(b *testing.B) {
	buf := make([]byte, 0, 16)
	b.ReportAllocs()
	for b.Loop() {
		p, _ := Degrees(-20.13, -67.49)
		buf = p.AppendLocator(buf[:0], 10)
	}
}
