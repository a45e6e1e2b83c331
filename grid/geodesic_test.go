package grid

import (
	"math"
	"testing"

	"github.com/tidwall/geodesic"
	"pgregory.net/rapid"
)

// turn is the difference of two directions in degrees, 0 to 180.
func turn(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }

// Source: testdata/grid/geodesics.csv, GeodSolve of GeographicLib 2.1.2.
func TestGeodesicTable(t *testing.T) {
	for i, row := range readTable(t, "geodesics.csv", 500) {
		fileLine := i + 2
		var v [7]float64
		for k, s := range row {
			v[k] = number(t, s)
		}
		a, b := mustDegrees(t, v[0], v[1]), mustDegrees(t, v[3], v[4])
		got := Inverse(a, b)
		if math.Abs(got.DistanceM-v[6]) > 2e-6 {
			t.Errorf("line %d: %.6f m, want %.6f", fileLine, got.DistanceM, v[6])
		}
		if to, err := Direct(a, v[2], v[6]); err != nil || Inverse(to, b).DistanceM > 1e-3 {
			t.Errorf("line %d: the direct way ends at %v, want %v (%v)", fileLine, to, b, err)
		}
		// The headings of coincident points are a convention, those of exact
		// antipodes one choice of many; the azimuth of a short line is as good as
		// its 1e-11 degree figures let it be.
		antipodal := v[3] == -v[0] && turn(v[4], v[1]+180) == 0
		if v[6] == 0 || antipodal {
			continue
		}
		tol := max(1e-9, 3e-5/v[6])
		if turn(got.HeadingDeg, v[2]) > tol || turn(got.BackHeadingDeg, v[5]+180) > tol {
			t.Errorf("line %d: headings %.11f, %.11f; want %v, %v+180", fileLine, got.HeadingDeg, got.BackHeadingDeg, v[2], v[5])
		}
	}
}

func dms(d, m, s float64) float64 {
	return math.Copysign(math.Abs(d)+m/60+s/3600, d)
}

// Published lines. Flinders Peak to Buninyong: Geoscience Australia (its GRS 80
// line is the same on WGS 84 to the micrometre); the others: C. F. F. Karney,
// "Algorithms for geodesics", J. Geodesy 87 (2013), on WGS 84. The last ones:
// centres of locators by GeodSolve 2.1.2.
func TestPublishedLines(t *testing.T) {
	center := func(s string) Point {
		c, err := Parse(s)
		if err != nil {
			t.Fatal(err)
		}
		return c.Center()
	}
	for _, c := range []struct {
		name          string
		a, b          Point
		metres, tolM  float64
		heading, tolH float64
		back          float64 // NaN: not published
	}{
		{"Flinders Peak-Buninyong",
			mustDegrees(t, dms(-37, 57, 3.7203), dms(144, 25, 29.5244)), mustDegrees(t, dms(-37, 39, 10.1561), dms(143, 55, 35.3839)),
			54972.271, 0.0006, dms(306, 52, 5.37), 2e-6, dms(127, 10, 25.07)},
		{"Karney short", mustDegrees(t, -30.12345, 0), mustDegrees(t, -30.12344, 0.00005),
			4.944208, 0.0000006, 77.04353354, 6e-9, 180 + 77.04350845},
		{"Karney nearly antipodal", mustDegrees(t, -30, 0), mustDegrees(t, 29.9, 179.8),
			19989832.827610, 0.0000006, 161.890524736, 6e-10, math.NaN()},
		{"Karney direct, inverted", mustDegrees(t, 40, 0), mustDegrees(t, 41.79331020506, 137.84490004377),
			10e6, 0.0001, 30, 1e-9, 180 + 149.09016931807},
		{"IO91wm-KP20le", center("IO91wm"), center("KP20le"), 1826617, 0.5, 48.413, 0.0005, math.NaN()},
		{"FN20qr-KP21ol", center("FN20qr"), center("KP21ol"), 6604892, 0.5, 33.224, 0.0005, math.NaN()},
		{"FN25di-JO55ei", center("FN25di"), center("JO55ei"), 5824226, 0.5, 45.873, 0.0005, math.NaN()},
		{"JO55-EC41", center("JO55"), center("EC41"), 16000962, 0.5, 217.743, 0.0005, math.NaN()},
		{"FN31pr-JN58td", center("FN31pr"), center("JN58td"), 6353098, 0.5, 52.372, 0.0005, math.NaN()},
	} {
		got := Inverse(c.a, c.b)
		if math.Abs(got.DistanceM-c.metres) > c.tolM || turn(got.HeadingDeg, c.heading) > c.tolH ||
			turn(got.BackHeadingDeg, c.back) > max(c.tolH, 1e-8) {
			t.Errorf("%s: %.7f m %.10f° back %.10f°", c.name, got.DistanceM, got.HeadingDeg, got.BackHeadingDeg)
		}
	}
}

// Vincenty's lines (T. Vincenty, Survey Review XXII no. 176, 1975, table II) are on
// older ellipsoids, so they hold the library below Inverse: distances to the
// millimetre; azimuths to what the input's 1e-5 second allows.
func TestVincentyLines(t *testing.T) {
	bessel, international := geodesic.NewEllipsoid(6377397.155, 1/299.1528128), geodesic.NewEllipsoid(6378388, 1/297.0)
	for _, c := range []struct {
		name                                 string
		on                                   *geodesic.Ellipsoid
		lat1, lat2, dLon, metres, azi1, azi2 float64
	}{
		{"a", bessel, dms(55, 45, 0), dms(-33, 26, 0), dms(108, 13, 0), 14110526.170, dms(96, 36, 8.79960), dms(137, 52, 22.01454)},
		{"b", international, dms(37, 19, 54.95367), dms(26, 7, 42.83946), dms(41, 28, 35.50729), 4085966.703, dms(95, 27, 59.63089), dms(118, 5, 58.96161)},
		{"c", international, dms(35, 16, 11.24862), dms(67, 22, 14.77638), dms(137, 47, 28.31435), 8084823.839, dms(15, 44, 23.74850), dms(144, 55, 39.92147)},
		{"d", international, dms(1, 0, 0), -dms(0, 59, 53.83076), dms(179, 17, 48.02997), 19960000.000, dms(89, 0, 0), dms(91, 0, 6.11733)},
		{"e", international, dms(1, 0, 0), dms(1, 1, 15.18952), dms(179, 46, 17.84244), 19780006.558, dms(4, 59, 59.99995), dms(174, 59, 59.88480)},
	} {
		var s, azi1, azi2 float64
		c.on.Inverse(c.lat1, 0, c.lat2, c.dLon, &s, &azi1, &azi2)
		if math.Abs(s-c.metres) > 0.001 || turn(azi1, c.azi1) > 1e-6 || turn(azi2, c.azi2) > 1e-6 {
			t.Errorf("%s: %.6f m %.9f° %.9f°; want %.3f m %.9f° %.9f°", c.name, s, azi1, azi2, c.metres, c.azi1, c.azi2)
		}
	}
}

// Laws: ranges, the way back, and that following the heading arrives.
func TestInverseLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawPoint(t), drawPoint(t)
		there, back := Inverse(a, b), Inverse(b, a)
		for _, l := range []Line{there, LongPath(a, b)} {
			if !(l.DistanceM >= 0 && l.HeadingDeg >= 0 && l.HeadingDeg < 360 && l.BackHeadingDeg >= 0 && l.BackHeadingDeg < 360) {
				t.Errorf("%v %v: %+v", a, b, l)
			}
		}
		if math.Abs(there.DistanceM-back.DistanceM) > 1e-6 {
			t.Errorf("%v %v: %v m there, %v m back", a, b, there.DistanceM, back.DistanceM)
		}
		if d := follow(a, there, b); d > 1e-4 {
			t.Errorf("%v %v: %+v ends %g m off", a, b, there, d)
		}
		back.HeadingDeg = there.BackHeadingDeg
		if d := follow(b, back, a); d > 1e-4 {
			t.Errorf("%v %v: the back heading ends %g m off", a, b, d)
		}
	})
}

// follow walks the line from a and gives the metres still missing to b.
func follow(a Point, l Line, b Point) float64 {
	lat, lon := a.LatLon()
	var lat2, lon2 float64
	geodesic.WGS84.Direct(lat, lon, l.HeadingDeg, l.DistanceM, &lat2, &lon2, nil)
	latB, lonB := b.LatLon()
	var s float64
	geodesic.WGS84.Inverse(lat2, lon2, latB, lonB, &s, nil, nil)
	return s
}

// The meridian and the equator are 40,007.863 and 40,075.017 km round (WGS 84:
// four times the quarter meridian 10,001.966 km; 2πa); a slanting line, which
// ends where it passes closest, may leave that range by less than 1 km.
func TestLongPath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawPoint(t), drawPoint(t)
		long, short := LongPath(a, b), Inverse(a, b)
		if sum := long.DistanceM + short.DistanceM; sum < 40_007_000 || sum > 40_076_000 {
			t.Errorf("%v %v: %v m round", a, b, sum)
		}
		if turn(long.HeadingDeg, short.HeadingDeg+180) > 1e-9 {
			t.Errorf("%v %v: %+v %+v", a, b, long, short)
		}
		// The heading back is that of the long line itself: it leads home.
		foot, err := Direct(a, long.HeadingDeg, long.DistanceM)
		if lat, _ := foot.LatLon(); err == nil && math.Abs(lat) < 89.9 {
			if home, err := Direct(foot, long.BackHeadingDeg, long.DistanceM); err != nil || distance(home, a) > 1 {
				t.Errorf("%v %v: %+v leads back to %v, %v", a, b, long, home, err)
			}
		}
		if d := follow(a, long, b); d > 70e3 {
			t.Errorf("%v %v: the long way passes at %g m", a, b, d)
		}
	})
	for _, c := range []struct {
		a, b   Point
		metres float64
	}{
		{mustDegrees(t, 0, 0), mustDegrees(t, 0, 90), 0.75 * 2 * math.Pi * wgsA},
		{mustDegrees(t, 0, 0), mustDegrees(t, 90, 0), 3 * 10_001_965.7293},
		{mustDegrees(t, -45, 7), mustDegrees(t, 45, 7), 40_007_862.917 - 2*4_984_944.378},
	} {
		if got := LongPath(c.a, c.b).DistanceM; math.Abs(got-c.metres) > 0.002 {
			t.Errorf("%v %v: %.4f m, want %.4f", c.a, c.b, got, c.metres)
		}
	}
}

func BenchmarkInverse(b *testing.B) {
	p, q := mustDegrees(b, -20.13, -67.49), mustDegrees(b, 48.14666, 11.60833)
	for b.Loop() {
		Inverse(p, q)
	}
}
