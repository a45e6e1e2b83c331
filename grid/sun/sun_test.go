package sun

import (
	"math"
	"testing"
	"time"
)

func utc(text string) time.Time {
	t, err := time.Parse("2006-01-02 15:04:05", text)
	if err != nil {
		panic(err)
	}
	return t
}

// Source: J. Meeus, Astronomical Algorithms, 2nd edition, example 25.a: the sun on 13
// October 1992 at 0 h TD: apparent right ascension 198.38083, declination -7.78507 degrees.
func TestMeeusSun(t *testing.T) {
	ascension, declination := apparent(-0.072183436)
	if a, d := ascension/radian+360, declination/radian; math.Abs(a-198.38083) > 0.00001 || math.Abs(d+7.78507) > 0.00001 {
		t.Errorf("%.5f, %.5f", a, d)
	}
}

// Source: Meeus, example 12.b: mean sidereal time of Greenwich on 10 April 1987, 19:21:00
// UT: 8 h 34 min 57.0896 s.
func TestMeeusSiderealTime(t *testing.T) {
	got := math.Mod(sidereal(utc("1987-04-10 19:21:00"))/radian, 360)
	if got < 0 {
		got += 360
	}
	if want := (8 + 34.0/60 + 57.0896/3600) * 15; math.Abs(got-want) > 1e-5 {
		t.Errorf("%.6f, want %.6f", got, want)
	}
}

// Source: I. Reda and A. Andreas, Solar Position Algorithm for Solar Radiation
// Applications, NREL/TP-560-34302: the example of 17 October 2003 (topocentric, with
// refraction: zenith 50.11162, so an altitude of 39.888 without 0.019 of refraction and
// 0.0016 of parallax).
func TestNRELAltitude(t *testing.T) {
	got := Altitude(39.742476, -105.1786, utc("2003-10-17 19:30:30"))
	if want := 90 - 50.11162 - 0.0163 + 0.0016; math.Abs(got-want) > 0.01 {
		t.Errorf("%.4f, want %.4f", got, want)
	}
}

// Sunrise and sunset to the minute. Sources: NREL/TP-560-34302, its table of rise and set
// (the first three); US Naval Observatory (Golden, at 105 W, and Beijing): both as in the
// tests of the general library fluids (MIT), tests of its module spa.
func TestRiseAndSet(t *testing.T) {
	for _, c := range []struct {
		lat, lon  float64
		day       string // from where 24 hours are looked at, UTC
		rise, set string
	}{
		{-35, 0, "1996-07-05 00:00:00", "1996-07-05 07:08:15", "1996-07-05 17:01:04"},
		{-35, 0, "2004-12-04 00:00:00", "2004-12-04 04:38:57", "2004-12-04 19:02:02"},
		{35, 0, "1994-01-02 00:00:00", "1994-01-02 07:08:12", "1994-01-02 16:59:55"},
		{39, -105, "2015-01-02 07:00:00", "2015-01-02 14:19:00", "2015-01-02 23:49:00"},
		{39, -105, "2015-04-02 07:00:00", "2015-04-02 12:43:00", "2015-04-03 01:24:00"},
		{39, -105, "2015-08-02 07:00:00", "2015-08-02 12:01:00", "2015-08-03 02:10:00"},
		{39, -105, "2015-12-02 07:00:00", "2015-12-02 14:01:00", "2015-12-02 23:38:00"},
		{39.917, 116.383, "2015-01-01 16:00:00", "2015-01-01 23:36:00", "2015-01-02 09:00:00"},
		{39.917, 116.383, "2015-04-01 16:00:00", "2015-04-01 21:58:00", "2015-04-02 10:39:00"},
		{39.917, 116.383, "2015-08-01 16:00:00", "2015-08-01 21:13:00", "2015-08-02 11:28:00"},
		{39.917, 116.383, "2015-12-01 16:00:00", "2015-12-01 23:17:00", "2015-12-02 08:50:00"},
	} {
		found, above := Next(c.lat, c.lon, utc(c.day), Horizon)
		if len(found) != 2 || above || !found[0].Up || found[1].Up {
			t.Errorf("%+v: %v, %v", c, found, above)
			continue
		}
		for i, want := range []string{c.rise, c.set} {
			if d := found[i].At.Sub(utc(want)); d.Abs() > time.Minute {
				t.Errorf("%v, %v: %v, want %s", c.lat, c.lon, found[i].At, want)
			}
		}
	}
}

// In polar day and night nothing rises or sets; at their ends the sun does so for minutes.
func TestPolarDays(t *testing.T) {
	for _, c := range []struct {
		lat   float64
		day   string
		n     int
		above bool
	}{{78, "2026-06-21 00:00:00", 0, true}, {78, "2026-12-21 00:00:00", 0, false}, {90, "2026-07-01 00:00:00", 0, true}, {-90, "2026-07-01 00:00:00", 0, false}, {0, "2026-03-20 00:00:00", 2, false}} {
		if found, above := Next(c.lat, 15, utc(c.day), Horizon); len(found) != c.n || above != c.above {
			t.Errorf("%+v: %v, %v", c, found, above)
		}
	}
	// Toward the polar night days grow short; none is stepped over.
	over, shortest := false, 24*time.Hour
	for lat := 66.0; lat < 69; lat += 0.0005 {
		found, _ := Next(lat, 16, utc("2026-12-21 00:00:00"), Horizon) // noon is between two looks
		if len(found) == 2 && over {
			t.Fatalf("%v: %v, after a latitude without", lat, found)
		}
		if over = len(found) == 0; !over {
			shortest = min(shortest, found[1].At.Sub(found[0].At))
		}
	}
	if shortest > 4*time.Minute {
		t.Errorf("the shortest day had %v", shortest)
	}
}

// Twilights to the minute. Sources: the Institut de mécanique céleste et de calcul des
// éphémérides (48.8575 N 2.3514 E and 17.4747 S 149.4822 W; the US Naval Observatory has the same
// minutes), both as quoted in the tests of the general library astronoby (github rhannequin/astronoby,
// MIT); and P. Duffett-Smith, Practical Astronomy with your Calculator, section 50
// (52 N 0 E, 7 September 1979: 3 h 17 min and 20 h 37 min, from memory).
func TestTwilightsPublished(t *testing.T) {
	for _, c := range []struct {
		lat, lon, altitude float64
		day, dawn, dusk    string
	}{
		{48.8575, 2.3514, Civil, "2024-03-14 00:00:00", "2024-03-14 05:33:55", "2024-03-14 18:26:20"},
		{48.8575, 2.3514, Nautical, "2024-03-14 00:00:00", "2024-03-14 04:57:12", "2024-03-14 19:03:10"},
		{48.8575, 2.3514, Astronomical, "2024-03-14 00:00:00", "2024-03-14 04:19:38", "2024-03-14 19:40:54"},
		{-17.4747, -149.4822, Civil, "2025-01-01 10:00:00", "2025-01-01 15:03:14", "2025-01-02 05:00:17"},
		{52, 0, Astronomical, "1979-09-07 00:00:00", "1979-09-07 03:17:00", "1979-09-07 20:37:00"},
	} {
		found, _ := Next(c.lat, c.lon, utc(c.day), c.altitude)
		if len(found) != 2 || !found[0].Up || found[1].Up {
			t.Errorf("%+v: %v", c, found)
			continue
		}
		for i, want := range []string{c.dawn, c.dusk} {
			if d := found[i].At.Sub(utc(want)); d.Abs() > time.Minute {
				t.Errorf("%v, %v: %v, want %s", c.lat, c.lon, found[i].At, want)
			}
		}
	}
}

// Civil twilight begins before sunrise, nautical before that, astronomical first.
func TestTwilights(t *testing.T) {
	last := time.Time{}
	for _, altitude := range []float64{Astronomical, Nautical, Civil, Horizon} {
		found, _ := Next(-20.13, -67.49, utc("2026-11-28 04:00:00"), altitude)
		if len(found) != 2 || !found[0].Up || !found[0].At.After(last) {
			t.Errorf("%v: %v", altitude, found)
		}
		last = found[0].At
	}
}

// On the equator at an equinox day and night meet a quarter round from the place below the sun.
func TestBorder(t *testing.T) {
	at := utc("2026-03-20 12:07:26") // the sun is over 0 E
	got := Border(func(part float64) (float64, float64) { return 0, 180 * part }, at)
	if len(got) != 1 || math.Abs(got[0]*180-90.833) > 0.1 {
		t.Errorf("%v", got)
	}
	if got := Border(func(part float64) (float64, float64) { return 0, 10 * part }, at); len(got) != 0 {
		t.Errorf("%v", got)
	}
}
