package band

import (
	"encoding/csv"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"testing"

	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/air/sound"
)

const air = "../../../testdata/air"

type listed struct{ snr, offset, freq float64 }

// heard reads what an established receiver listed in each recording: testdata/air.
func heard(t testing.TB) map[string][]listed {
	t.Helper()
	f, err := os.Open(filepath.Join(air, "heard.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]listed{}
	for _, r := range rows[1:] {
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(r[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		out[r[0]] = append(out[r[0]], listed{v[0], v[1], v[2]})
	}
	return out
}

func load(t testing.TB, name string) []float32 {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(air, name))
	if err != nil {
		t.Fatal(err)
	}
	p, err := sound.WAV(b, 0)
	if err != nil {
		t.Fatal(err)
	}
	return sound.To8k(p)
}

func named(t testing.TB, name string) Mode {
	t.Helper()
	m, err := ModeNamed(name)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// nearest is the finding within 5 Hz and 0.2 s of a listed signal.
func nearest(all []Signal, l listed, start float64) (best Signal, ok bool) {
	for _, s := range all {
		df := math.Abs(s.FreqHz - l.freq)
		if df < 5 && math.Abs(s.BeginS-start-l.offset) < 0.2 && (!ok || df < math.Abs(best.FreqHz-l.freq)) {
			best, ok = s, true
		}
	}
	return best, ok
}

func median(x []float64) float64 {
	x = append([]float64(nil), x...)
	sort.Float64s(x)
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}

// TestRecordings holds the findings against what an established receiver listed in 18
// recordings of real FT8 bands (testdata/air, SOURCES.csv): of the signals at −15 dB or
// better 95 % found, 95 % of their offsets within 0.05 s (the list has steps of 0.1 s);
// and the crowd within 0.05 s of the list's median where the list has eight or more.
func TestRecordings(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	m := named(t, "FT8")
	good, found, close := 0, 0, 0
	var strengths []float64 // ours less the listed, dB
	for name, list := range heard(t) {
		all := Find(load(t, name), m)
		var offsets []float64
		for _, l := range list {
			offsets = append(offsets, l.offset)
			if l.snr < -15 {
				continue
			}
			good++
			if s, ok := nearest(all, l, m.Start.Seconds()); ok {
				found++
				strengths = append(strengths, s.SNRdB-l.snr)
				if math.Abs(s.BeginS-m.Start.Seconds()-l.offset) <= 0.05 {
					close++
				}
			}
		}
		c, err := crowd.Of(Offsets(Distinct(all, m), m), m.Period.Seconds())
		t.Logf("%s: %d found, %d listed, crowd %+v (%v), listed median %.2f", name, len(all), len(list), c, err, median(offsets))
		if len(list) < 8 {
			continue
		}
		d := math.Abs(c.OffsetS - median(offsets))
		if err != nil || d > 0.05 || d > c.BoundS-crowd.Floor {
			t.Errorf("%s: crowd %+v, %v; the list's median is %.3f", name, c, err, median(offsets))
		}
	}
	t.Logf("at −15 dB or better: %d listed, %d found, %d of them within 0.05 s", good, found, close)
	sort.Float64s(strengths)
	t.Logf("strength against the list: %.1f, %.1f, %.1f dB (quarter, half, three quarters)", strengths[len(strengths)/4], median(strengths), strengths[3*len(strengths)/4])
	if good != 280 || float64(found) < 0.95*float64(good) || float64(close) < 0.95*float64(found) {
		t.Errorf("at −15 dB or better: %d listed, want 280; %d found, %d within 0.05 s, want 95 %% each", good, found, close)
	}
}

// TestFalseFinds looks in the same recordings for a mode that is not in them, with the
// same tones and lengths: its finds are false, and no crowd comes of them.
func TestFalseFinds(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	m := named(t, "JS8-15")
	finds, plain := 0, 0
	names := slices.Sorted(maps.Keys(heard(t)))
	if os.Getenv("NOONMARK_TEST_LONG") == "" {
		names = names[:3]
	}
	for _, name := range names {
		all := Find(load(t, name), m)
		d := Distinct(all, m)
		finds, plain = finds+len(all), plain+len(d)
		if c, err := crowd.Of(Offsets(d, m), m.Period.Seconds()); err == nil {
			t.Errorf("%s: a crowd of false finds: %+v", name, c)
		}
	}
	t.Logf("%d false finds, %d plain", finds, plain)
	if finds > 3*len(names) || 2*plain > len(names)+4 {
		t.Errorf("%d false finds in %d busy periods, %d plain", finds, len(names), plain)
	}
}
