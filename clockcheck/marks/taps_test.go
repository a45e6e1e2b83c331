package marks

import (
	"errors"
	"math"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// taps are presses at whole seconds, each off by so many s.
func taps(off ...float64) (at []timescale.Local) {
	for i, o := range off {
		at = append(at, timescale.Local(1000e9).Add(time.Duration(i)*time.Second+seconds(o)))
	}
	return at
}

func same(off float64, n int) (all []float64) {
	for range n {
		all = append(all, off)
	}
	return all
}

// How many taps make a mark, how far they may be off, how much they may scatter.
func TestLimitsOfTaps(t *testing.T) {
	for _, c := range []struct {
		name string
		off  []float64
		each time.Duration
		err  error
		used int
	}{
		{"three", same(0, 3), time.Second, nil, 3},
		{"a hundred", same(0, 100), time.Second, nil, 100},
		{"a hundred and one", same(0, 101), time.Second, ErrFew, 0},
		{"the others a quarter of a second off the first", append([]float64{0}, same(firstOff, 6)...), time.Second, nil, 6},
		{"and more", append([]float64{0}, same(firstOff+0.001, 6)...), time.Second, ErrFirst, 0},
		{"one at the edge", append(same(0, 6), outlier-1e-9), time.Second, nil, 7},
		{"one beyond it", append(same(0, 6), outlier+1e-8), time.Second, nil, 6},
		{"half are beyond it", append(same(0, 4), 0.2, -0.2, 0.3, -0.3), time.Second, ErrScatter, 0},
		{"three of five", append(same(0, 3), 0.2, -0.3), time.Second, nil, 3},
		{"two of four", []float64{0, 0, 0.4, -0.4}, time.Second, ErrScatter, 0},
	} {
		r, err := Average(Taps{At: taps(c.off...), Each: c.each})
		if !errors.Is(err, c.err) || r.Used != c.used || err == nil && r.Used+r.Dropped != len(c.off) {
			t.Errorf("%s: %+v, %v", c.name, r, err)
		}
	}
}

// The mark is the mean of the taps, less what a person, the set and the way are late by; the
// bound is 3.891 σ of person and taps, and the half-widths of the set and of the way.
func TestAverage(t *testing.T) {
	off := []float64{0, 0.06, 0.12, 0.06, 0.14, 0.04}
	mean := 0.07
	spread := math.Sqrt((0.0049 + 0.0001 + 0.0025 + 0.0001 + 0.0049 + 0.0009) / 5) // n − 1
	for _, c := range []struct {
		way         Way
		late, sigma float64 // as stated in the text of ways
	}{{Anticipate, -0.03, 0.04}, {React, 0.17, 0.05}} {
		r, err := Average(Taps{At: taps(off...), Each: time.Second, Way: c.way, Path: 20 * time.Millisecond, PathBound: 3 * time.Millisecond})
		if err != nil {
			t.Fatal(err)
		}
		at := mean - c.late - 0.0525 - 0.020
		bound := 3.891*math.Hypot(c.sigma, spread/math.Sqrt(6)) + 0.0475 + 0.003
		if got := r.At.Sub(1000e9).Seconds(); math.Abs(got-at) > 1e-6 || math.Abs(r.Bound.Seconds()-bound) > 1e-6 || math.Abs(r.Spread.Seconds()-spread) > 1e-6 {
			t.Errorf("way %d: %g ± %v, spread %v, want %g ± %g, %g", c.way, got, r.Bound, r.Spread, at, bound, spread)
		}
	}
	// A few taps that agree by chance are known no better than ±0.05 s each.
	r, err := Average(Taps{At: taps(0, 0, 0, 0), Each: time.Second})
	if bound := 3.891*math.Hypot(0.04, 0.05/2) + 0.0475; err != nil || math.Abs(r.Bound.Seconds()-bound) > 1e-6 {
		t.Errorf("four that agree: ± %v, want %g, %v", r.Bound, bound, err)
	}
}

// Where the way is not known it is half of what it can be, ± as much and 2 ms; the long
// way round is good to 4 ms; where nobody says which, a way twice as long is within the bound.
func TestPathBounds(t *testing.T) {
	const half = perKm * halfWay / 2
	for _, c := range []struct {
		km           float64
		long         bool
		delay, bound float64
	}{
		{-1, false, 0.001 + half, half + 0.002},
		{0, false, 0.001, 0.002},
		{4999, false, 0.001 + perKm*4999, 0.002},
		{5000, true, 0.001 + perKm*35030, 0.004},
		{5000, false, 0.001 + perKm*5000, 0.002 + perKm*5000},
		{15000, false, 0.001 + perKm*15000, 0.002 + perKm*10030.001},
		{20015, false, 0.001 + perKm*20015, 0.002},
	} {
		d, b := Path(c.km, c.long)
		if math.Abs(d.Seconds()-c.delay) > 1e-8 || math.Abs(b.Seconds()-c.bound) > 1e-8 {
			t.Errorf("%g km, long %v: %v ± %v, want %g ± %g", c.km, c.long, d, b, c.delay, c.bound)
		}
	}
}
