package band_test

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"noonmark/clockcheck/air/airtest"
	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/crowd"
)

var long = os.Getenv("NOONMARK_TEST_LONG") != ""

// size is what NOONMARK_TEST_LONG says, if that is a number beyond 1.
func size(usual int) int {
	if n, err := strconv.Atoi(os.Getenv("NOONMARK_TEST_LONG")); err == nil && n > 1 {
		return n
	}
	return usual
}

func mode(t testing.TB, name string) band.Mode {
	t.Helper()
	m, err := band.ModeNamed(name)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// senders are some, at one strength, apart from each other, with offsets of their own.
func senders(r *rand.Rand, m band.Mode, n int, snr float64) []airtest.Sender {
	all := make([]airtest.Sender, n)
	room := 2600 / float64(n)
	for i := range all {
		all[i] = airtest.Sender{BeginS: m.Start.Seconds() + r.Float64()*1.6 - 0.1, FreqHz: 250 + room*float64(i) + 10*r.Float64(), SNRdB: snr}
	}
	return all
}

// trial is how many of the senders of some periods were found, and the RMS of their offsets'
// errors, s.
func trial(r *rand.Rand, m band.Mode, c airtest.Channel, snr float64, periods, n int) (share, rms float64) {
	found, sum := 0, 0.0
	for range periods {
		all := senders(r, m, n, snr)
		got := band.Find(airtest.Band(r, m, c, all, m.Period.Seconds()), m)
		for _, s := range all {
			for _, g := range got {
				if d := g.BeginS - s.BeginS; math.Abs(g.FreqHz-s.FreqHz) < 8 && math.Abs(d) < 0.3 {
					found++
					sum += d * d
					break
				}
			}
		}
	}
	return float64(found) / float64(periods*n), math.Sqrt(sum / float64(max(found, 1)))
}

// TestSyntheticBands: through the channels of ITU-R F.1487; the error of single offsets is
// 0.03 s RMS at most at −12 dB in the moderate one. NOONMARK_TEST_LONG=4 makes the whole table, of
// four periods with 12 stations each; NOONMARK_TEST_CHANNEL=middle leaves out channels of other names.
func TestSyntheticBands(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	r := rand.New(rand.NewPCG(1, 2))
	for _, row := range []struct {
		name  string
		least float64
		most  float64
	}{{"FT8", 0.9, 0.03}, {"JS8-15", 0.9, 0.03}, {"FT4", 0.55, 0.03}, {"JS8-10", 0.9, 0.03}, {"JS8-6", 0.65, 0.03}} {
		share, rms := trial(r, mode(t, row.name), airtest.Moderate, -12, 1, 12)
		t.Logf("%s at −12 dB, moderate: %.2f found, %.4f s RMS", row.name, share, rms)
		if share < row.least || rms > row.most {
			t.Errorf("%s at −12 dB, moderate: %.2f found, want %.2f; %.3f s RMS, want %.3f", row.name, share, row.least, rms, row.most)
		}
	}
	if !long {
		return
	}
	for _, name := range []string{"FT8", "FT4", "JS8-6"} {
		for _, c := range append([]airtest.Channel{{Name: "no fading"}}, airtest.Channels...) {
			if !strings.Contains(c.Name, os.Getenv("NOONMARK_TEST_CHANNEL")) {
				continue
			}
			for _, snr := range []float64{-21, -18, -15, -12, -6, 0, 10} {
				share, rms := trial(r, mode(t, name), c, snr, size(4), 12)
				t.Logf("%-5s %-32s %+3.0f dB: %3.0f %% found, %4.0f ms RMS", name, c.Name, snr, 100*share, 1e3*rms)
			}
		}
	}
}

// TestNothingThere: periods of noise, voices, music, carriers, clicks and of other modes make
// no crowd. 2,000 of them with NOONMARK_TEST_LONG.
func TestNothingThere(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	r := rand.New(rand.NewPCG(3, 4))
	periods, crowds := 10, 0
	if long {
		periods = size(2000)
	}
	finds := map[string]int{}
	names := []string{"FT8", "JS8-15", "FT4", "JS8-6", "JS8-10"}
	for i := range periods {
		m := mode(t, names[i/10%len(names)])
		x := make([]float32, int(m.Period.Seconds()*airtest.Rate))
		switch i % 5 {
		case 1:
			airtest.Voice(r, x, 10)
		case 2:
			airtest.Carriers(r, x, 1+r.IntN(12), 5)
		case 3:
			airtest.Music(r, x, 10)
		case 4:
			airtest.Clicks(r, x, 5, 5)
		}
		x = airtest.Noise(r, x)
		if i%10 == 9 { // another mode's signals
			other := mode(t, map[string]string{"FT8": "JS8-15", "JS8-15": "FT8", "FT4": "FT8", "JS8-6": "FT4", "JS8-10": "JS8-6"}[m.Name])
			x = airtest.Band(r, other, airtest.Moderate, senders(r, other, 15, 0), m.Period.Seconds())
		}
		all := band.Find(x, m)
		finds[m.Name] += len(all)
		if c, err := crowd.Of(band.Offsets(band.Distinct(all, m), m), m.Period.Seconds()); err == nil {
			crowds++
			t.Logf("period %d, %s: %+v", i, m.Name, c)
		}
	}
	t.Logf("%d periods: false finds %v, %d crowds", periods, finds, crowds)
	if crowds > periods/2000 {
		t.Errorf("%d crowds in %d periods without a signal of the mode", crowds, periods)
	}
}
