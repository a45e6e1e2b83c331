package magnetic

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

func table(t *testing.T, name string, want int) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != want+1 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	return rows[1:]
}

// northSlack is how far the north components of the table of 2025 lie from the model's own
// potential, nT; its east and down components agree in all six decimals, and
// TestDerivatives shows that the slope of ours is that of the potential. So its totals
// are off by as much times X / F.
const northSlack = 0.0006

// same tells whether got rounds to the digits given; slack is beside the rounding.
func same(t *testing.T, got float64, given string, slack float64) bool {
	t.Helper()
	want, err := strconv.ParseFloat(given, 64)
	if err != nil {
		t.Fatal(err)
	}
	_, frac, _ := strings.Cut(given, ".")
	return math.Abs(got-want) <= 0.5001*math.Pow10(-len(frac))+slack
}

// All published test values, to the digits given. Sources: WMM2020 test values (github
// westphae/geomag, commit c87be45, MIT); WMM2025 (npm package geomagnetism 0.2.0,
// Apache-2.0), with total intensities to six decimals.
func TestPublishedValues(t *testing.T) {
	for name, want := range map[string]int{"values2020.csv": 100, "values2025.csv": 60} {
		for i, row := range table(t, name, want) {
			f := at4(t, row)
			got := []float64{f.DeclinationDeg(), f.InclinationDeg(), f.HorizontalNT(), f.NorthNT, f.EastNT, f.DownNT, f.TotalNT()}
			slack := 0.0
			if len(row) == 7 {
				got = []float64{f.DeclinationDeg(), f.InclinationDeg(), f.TotalNT()}
				slack = northSlack * math.Abs(f.NorthNT) / f.TotalNT()
			}
			for k, v := range got {
				if k != len(got)-1 && !same(t, v, row[4+k], 0) || !same(t, v, row[4+k], slack) {
					t.Errorf("%s line %d, column %d: %.7f, want %s", name, i+2, 4+k, v, row[4+k])
				}
			}
		}
	}
}

// at4 is the field at year, height, latitude and longitude.
func at4(t *testing.T, row []string) Field {
	t.Helper()
	var in [4]float64
	for k := range in {
		in[k], _ = strconv.ParseFloat(row[k], 64)
	}
	f, err := At(in[2], in[3], in[1], in[0])
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// East and down to all six decimals. Source: ten rows of WMM2025_TEST_VALUES.txt (NOAA/NCEI), as
// quoted in the tests of a public repository; their totals are those of values2025.csv.
func TestComponents2025(t *testing.T) {
	for i, row := range table(t, "components2025.csv", 10) {
		f := at4(t, row)
		for k, v := range []float64{f.EastNT, f.DownNT} {
			if !same(t, v, row[6+k], 1e-6) { // a last digit
				t.Errorf("line %d: %.7f, want %s", i+2, v, row[6+k])
			}
		}
		if !same(t, f.NorthNT, row[5], northSlack) {
			t.Errorf("line %d: north %.7f, want %s", i+2, f.NorthNT, row[5])
		}
	}
}

// The derivatives are those of the functions: differences of the sixth order, steps of
// 0.001 radian. The north component is made of them.
func TestDerivatives(t *testing.T) {
	const h = 0.001
	for lat := -89.0; lat <= 89; lat += 3.7 {
		at := func(steps float64) (p, dp [degree + 1][degree + 1]float64) {
			return legendre(math.Sincos(lat*math.Pi/180 + steps*h))
		}
		_, dp := at(0)
		for n := 1; n <= degree; n++ {
			for k := 0; k <= n; k++ {
				sum := 0.0
				for i, c := range []float64{45, -9, 1} {
					up, _ := at(float64(i + 1))
					down, _ := at(-float64(i + 1))
					sum += c * (up[n][k] - down[n][k])
				}
				if d := sum / (60 * h); math.Abs(d-dp[n][k]) > 1e-10 {
					t.Errorf("%v°, %d, %d: %.12f, want %.12f", lat, n, k, dp[n][k], d)
				}
			}
		}
	}
}

func TestOutsideOfItsYears(t *testing.T) {
	for _, year := range []float64{1990, 2019.999, 2030, 2031.1, math.NaN(), math.Inf(1)} {
		if f, err := At(-20.13, -67.49, 0, year); !errors.Is(err, ErrOutside) {
			t.Errorf("%v: %+v, %v", year, f, err)
		}
	}
	for _, year := range []float64{First, 2024.999, 2025, Until - 0.001} {
		if _, err := At(-20.13, -67.49, 0, year); err != nil {
			t.Errorf("%v: %v", year, err)
		}
	}
}

// Toward the magnetic poles a compass tells less, then nothing.
func TestCompass(t *testing.T) {
	for _, c := range []struct {
		lat, lon float64
		want     Compass
	}{{-20.13, -67.49, Good}, {48, 11, Good}, {85.8, 139, Blackout}, {-64, 136, Blackout}, {76, 100, Caution}, {89, -121, Blackout}} {
		f, err := At(c.lat, c.lon, 0, 2026)
		if err != nil || f.Compass() != c.want {
			t.Errorf("%v, %v: %v at %.0f nT, %v", c.lat, c.lon, f.Compass(), f.HorizontalNT(), err)
		}
	}
	f, _ := At(-20.13, -67.49, 0, 2026)
	if s := f.DeclinationSigmaDeg(); s < 0.3 || s > 0.45 {
		t.Errorf("σ %v°", s)
	}
	for _, lat := range []float64{90, -90} {
		if f, err := At(lat, 0, 0, 2026); err != nil || math.IsNaN(f.DeclinationDeg()) || f.TotalNT() < 50_000 || f.TotalNT() > 70_000 {
			t.Errorf("at the pole: %+v, %v", f, err)
		}
	}
}

func TestModelsAreWhole(t *testing.T) {
	for _, m := range models {
		if m.g[1][0] > -29_000 || m.g[12][12] == 0 {
			t.Errorf("%v: %v, %v", m.epoch, m.g[1][0], m.g[12][12])
		}
	}
	if _, err := read("wmm2030.csv", 2030); err == nil {
		t.Error("a model that is not there was read")
	}
}
