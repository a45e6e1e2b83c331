package stability

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// seven is v as the published tables print it: seven digits.
func seven(v float64) string { return fmt.Sprintf("%.6e", v) }

type function func(x []float64, tau0 float64, m int) float64

// uniform are the frequencies of the test set of NIST SP 1065, section 12.4: a
// prime modulus generator, scaled to 0…1.
func uniform() []float64 {
	y := make([]float64, 1000)
	n := uint64(1234567890)
	for i := range y {
		y[i] = float64(n) / 2147483647
		n = 16807 * n % 2147483647
	}
	return y
}

// The generator and the plain statistics of the set, as SP 1065 prints them.
func TestPublishedSetItself(t *testing.T) {
	y := uniform()
	for i, n := range []float64{1234567890, 395529916, 1209410747, 633705974} {
		if got := math.Round(y[i] * 2147483647); got != n {
			t.Errorf("n%d = %.0f, want %.0f", i+1, got, n)
		}
	}
	sum, lo, hi := 0.0, y[0], y[0]
	for _, v := range y {
		sum += v
		lo, hi = min(lo, v), max(hi, v)
	}
	if got := [3]string{seven(sum / 1000), seven(lo), seven(hi)}; got != [3]string{"4.897745e-01", "1.371760e-03", "9.957453e-01"} {
		t.Errorf("mean, least, greatest: %v", got)
	}
}

// NIST SP 1065 (2008), pages 107 and 108: 1000 points, every digit printed. Total
// is the doubly reflected definition without bias correction; older papers print
// another. The printed Hadamard deviation at 100 is 3.910860e-02: exact
// (rational) arithmetic gives 0.039108605597…, which rounds to the digits here.
func TestPublished1000(t *testing.T) {
	x := Phase(uniform(), 1)
	for _, tc := range []struct {
		name string
		f    function
		want [3]string // averaging times 1, 10 and 100 s
	}{
		{"Allan", Allan, [3]string{"2.922319e-01", "9.965736e-02", "3.897804e-02"}},
		{"OverlappingAllan", OverlappingAllan, [3]string{"2.922319e-01", "9.159953e-02", "3.241343e-02"}},
		{"Modified", Modified, [3]string{"2.922319e-01", "6.172376e-02", "2.170921e-02"}},
		{"Time", Time, [3]string{"1.687202e-01", "3.563623e-01", "1.253382e+00"}},
		{"Hadamard", Hadamard, [3]string{"2.943883e-01", "1.052754e-01", "3.910861e-02"}},
		{"OverlappingHadamard", OverlappingHadamard, [3]string{"2.943883e-01", "9.581083e-02", "3.237638e-02"}},
		{"Total", Total, [3]string{"2.922319e-01", "9.134743e-02", "3.406530e-02"}},
	} {
		var got [3]string
		for i, m := range []int{1, 10, 100} {
			got[i] = seven(tc.f(x, 1, m))
		}
		if got != tc.want {
			t.Errorf("%s: got %v, want %v", tc.name, got, tc.want)
		}
	}
}

// NBS Monograph 140 (1974): nine frequencies, as SP 1065 prints the results.
func TestPublished9(t *testing.T) {
	x := Phase([]float64{892, 809, 823, 798, 671, 644, 883, 903, 677}, 1)
	for _, tc := range []struct {
		name string
		f    function
		want [2]string // averaging times 1 and 2 s
	}{
		{"Allan", Allan, [2]string{"91.22945", "115.8082"}},
		{"OverlappingAllan", OverlappingAllan, [2]string{"91.22945", "85.95287"}},
		{"Modified", Modified, [2]string{"91.22945", "74.78849"}},
		{"Time", Time, [2]string{"52.67135", "86.35831"}},
		{"Hadamard", Hadamard, [2]string{"70.80607", "116.7980"}},
		{"OverlappingHadamard", OverlappingHadamard, [2]string{"70.80607", "85.61487"}},
		{"Total", Total, [2]string{"91.22945", "93.90379"}},
	} {
		var got [2]string
		for i, m := range []int{1, 2} {
			got[i] = fmt.Sprintf("%#.7g", tc.f(x, 1, m))
		}
		if got != tc.want {
			t.Errorf("%s: got %v, want %v", tc.name, got, tc.want)
		}
	}
}

// Laws: an even frequency shows in nothing, an even drift D in the Allan
// deviation as D·τ/√2 (SP 1065, section 5.2) and not in the Hadamard deviation;
// the unit of time does not matter.
func TestLaws(t *testing.T) {
	const tau0, drift, m = 10.0, 3e-9, 7
	x := make([]float64, 200)
	for i := range x {
		at := float64(i) * tau0
		x[i] = 5 + 1e-5*at + drift/2*at*at
	}
	near := func(name string, got, want float64) {
		if math.Abs(got-want) > 1e-13 {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
	for _, f := range []function{Allan, OverlappingAllan, Modified} {
		near("drift", f(x, tau0, m), drift*m*tau0/math.Sqrt2)
	}
	near("drift, Hadamard", Hadamard(x, tau0, m), 0)
	near("drift, OverlappingHadamard", OverlappingHadamard(x, tau0, m), 0)
	y := uniform()
	for _, f := range []function{Allan, OverlappingAllan, Hadamard, OverlappingHadamard, Modified, Total} {
		near("unit", f(Phase(y, tau0), tau0, m), f(Phase(y, 1), 1, m))
	}
}

func TestTooFew(t *testing.T) {
	for _, f := range []function{Allan, OverlappingAllan, Hadamard, OverlappingHadamard, Modified, Time, Total} {
		for _, m := range []int{-1, 0, 4} {
			if v := f([]float64{1, 2, 4, 9}, 1, m); !math.IsNaN(v) {
				t.Errorf("four samples, m = %d: %v", m, v)
			}
		}
	}
}

// The degrees of freedom against a simulation: those of a quantity with variance
// v and mean u are 2u²/v.
func TestFreedom(t *testing.T) {
	const runs, n = 4000, 201
	for _, tc := range []struct {
		name  string
		noise Noise
		m     int
	}{{"white", WhiteFM, 1}, {"white", WhiteFM, 10}, {"white", WhiteFM, 40},
		{"random walk", RandomWalkFM, 1}, {"random walk", RandomWalkFM, 10}, {"random walk", RandomWalkFM, 40}} {
		rng := rand.New(rand.NewPCG(7, uint64(tc.m)))
		y := make([]float64, n-1)
		sum, square := 0.0, 0.0
		for range runs {
			walk := 0.0
			for i := range y {
				if y[i] = rng.NormFloat64(); tc.noise == RandomWalkFM {
					walk += y[i]
					y[i] = walk
				}
			}
			v := sq(OverlappingAllan(Phase(y, 1), 1, tc.m))
			sum += v
			square += v * v
		}
		mean := sum / runs
		got, want := 2*mean*mean/(square/runs-mean*mean), Freedom(tc.noise, n, tc.m)
		if math.Abs(got/want-1) > 0.15 {
			t.Errorf("%s, m = %d: %.2f degrees of freedom, the handbook's formula says %.2f", tc.name, tc.m, got, want)
		}
	}
}
