package grid

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Source: testdata/grid/mgrs.csv, GeoConvert of GeographicLib 2.1.2. The rows
// near the poles (UPS) must be refused.
func TestMGRSTable(t *testing.T) {
	polar := 0
	for _, row := range readTable(t, "mgrs.csv", 500) {
		p := mustDegrees(t, number(t, row[0]), number(t, row[1]))
		u, ok := p.toUTM()
		text, ok2 := p.MGRS()
		short, ok3 := p.UTM()
		if row[3] == "n" || row[3] == "s" {
			polar++
			if ok || ok2 || ok3 || text != "" || short != "" {
				t.Errorf("%v: %q %q, want no UTM here", row, text, short)
			}
			continue
		}
		if !ok || !ok2 || !ok3 {
			t.Errorf("%v: no UTM", row)
			continue
		}
		if text != row[2] {
			t.Errorf("%v: MGRS %s", row, text)
		}
		zone := fmt.Sprintf("%02dn", u.zone)
		if u.south {
			zone = fmt.Sprintf("%02ds", u.zone)
		}
		east, north := number(t, row[4]), number(t, row[5])
		if zone != row[3] || math.Abs(u.east-east) > 0.00051 || math.Abs(u.north-north) > 0.00051 {
			t.Errorf("%v: %s %.4f %.4f", row, zone, u.east, u.north)
		}
		if want := fmt.Sprintf("%s %.0f %.0f", row[2][:3], east, north); short != want && math.Mod(east, 1) != 0.5 && math.Mod(north, 1) != 0.5 {
			t.Errorf("%v: UTM %q, want %q", row, short, want)
		}
		back, err := u.point()
		if err != nil || distance(back, p) > 0.0002 {
			t.Errorf("%v: back to %v, %v", row, back, err)
		}
		// The inverse on its own, from the table's millimetres.
		u.east, u.north = east, north
		if back, err = u.point(); err != nil || distance(back, p) > 0.001 {
			t.Errorf("%v: table's UTM is %v, %v", row, back, err)
		}
	}
	if polar < 80 {
		t.Errorf("%d polar rows, want at least 80", polar)
	}
}

func distance(a, b Point) float64 { return Inverse(a, b).DistanceM }

// Zone and band at the borders: GeoConvert of GeographicLib 2.1.2; 38SMB is a
// widely printed example.
func TestZoneBorders(t *testing.T) {
	for _, c := range []struct {
		lat, lon float64
		want     string // beginning of the MGRS text; empty: no UTM
	}{
		{84, 10, ""}, {90, 0, ""}, {-80.0000001, 10, ""}, {-90, 0, ""},
		{83.9999999, 10, "33X"}, {-80, 10, "32C"},
		{56, 3, "32VJH2604922336"}, {56, 2.9999, "31V"}, {63.9999, 3, "32V"}, {64, 3, "31W"},
		{72, 8.9999, "31X"}, {72, 9, "33X"}, {72, 20.9999, "33X"}, {72, 21, "35X"},
		{72, 32.9999, "35X"}, {72, 33, "37X"}, {72, 41.9999, "37X"}, {72, 42, "38X"},
		{71.9999, 8.9999, "32W"}, {56, 11.9999, "32V"}, {56, 12, "33V"}, {55.9999, 3, "31U"},
		{0, 180, "01N"}, {0, -180, "01N"}, {0, 179.9999999, "60N"}, {0, 0, "31N"}, {-1e-9, 0, "31M"},
		{8, 0, "31P"}, {33.3, 44.4, "38SMB44"},
	} {
		got, ok := mustDegrees(t, c.lat, c.lon).MGRS()
		if ok != (c.want != "") || !strings.HasPrefix(got, c.want) {
			t.Errorf("%v, %v: %q, want %q", c.lat, c.lon, got, c.want)
		}
	}
}

// The box of a zone is where zoneOf says that zone is.
func TestZoneBoxAgrees(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPoint(t)
		u, ok := p.toUTM()
		if !ok {
			return
		}
		s, w, n, e, ok := zoneBox(u.zone, u.band)
		lat, lon := p.LatLon()
		if !ok || lat < s || lat >= n || lon < w || lon >= e {
			t.Errorf("%v in %d%c: box %v %v %v %v %v", p, u.zone, bandLetters[u.band], s, w, n, e, ok)
		}
	})
}

// Law: forth and back is the same place within the rounding to 1e-9 degree
// (0.08 mm from corner to middle), also far from the central meridian.
func TestUTMInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPoint(t)
		u, ok := p.toUTM()
		if !ok {
			return
		}
		back, err := u.point()
		if err != nil || distance(back, p) > 0.0001 {
			t.Errorf("%v → %+v → %v (%v)", p, u, back, err)
		}
	})
}

// Whole metres come back as they were, from UTM and from MGRS, and from what eight decimals of a
// degree leave of them (0.6 mm each way), in all zones and bands.
func TestWholeMetresComeBack(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 17))
	cases := 0
	for zone := 1; zone <= 60; zone++ {
		for range 40 {
			p := mustDegrees(t, r.Float64()*163.9-79.95, wrapped(float64(6*zone-183)+r.Float64()*6-3))
			u, _ := p.toUTM()
			u.east, u.north = math.Round(u.east), math.Round(u.north)
			if cases%4 == 0 { // numbers that end in zeros are written most
				u.east, u.north = math.Round(u.east/1000)*1000, math.Round(u.north/1000)*1000
			}
			text := fmt.Sprintf("%02d%c %.0f %.0f", u.zone, bandLetters[u.band], u.east, u.north)
			pl, err := ParsePlace(text)
			if err != nil {
				continue // rounding left the zone or the band
			}
			first, _ := pl.Point.MGRS()
			again, _ := pl.Point.toUTM()
			if again.zone != u.zone || again.band != u.band {
				continue
			}
			lat, lon := pl.Point.LatLon()
			printed := mustDegrees(t, math.Round(lat*1e8)/1e8, math.Round(lon*1e8)/1e8)
			want := fmt.Sprintf("%05d%05d", int(u.east)%100_000, int(u.north)%100_000)
			for _, q := range []Point{pl.Point, printed} {
				short, _ := q.UTM()
				square, _ := q.MGRS()
				if short != text || !strings.HasSuffix(square, want) || square != first {
					t.Errorf("%s: %s, %s, want …%s", text, short, square, want)
				}
			}
			corner, err := ParsePlace(first)
			if err != nil {
				t.Errorf("%s: %v", first, err)
				continue
			}
			if back, _ := corner.Point.MGRS(); back != first {
				t.Errorf("%s: its middle is in %s", first, back)
			}
			if back, _ := corner.Point.UTM(); back != text {
				t.Errorf("%s: its middle is %s, want %s", first, back, text)
			}
			cases++
		}
	}
	if cases < 2300 {
		t.Errorf("%d cases", cases)
	}
}

func wrapped(lon float64) float64 { return math.Remainder(lon, 360) }
