package lab

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// Coverage tells how often the 99 % bound held the truth, over nights: one
// instant of each night and basis, drawn at random.
type Coverage struct {
	Basis   string  `json:"basis"`
	Learned bool    `json:"learned"`
	Nights  int     `json:"nights"`
	Covered float64 `json:"covered"`               // share
	P99     float64 `json:"p99_error_s"`           // 99th percentile of |estimate − truth|
	Median  float64 `json:"median_bound_s"`        //
	Ratio   float64 `json:"median_bound_over_p99"` //
}

// Coverages sums the samples of nights up, by basis.
func Coverages(nights []*Night) []Coverage {
	type key struct {
		basis   string
		learned bool
	}
	all := map[key][]Sample{}
	for _, n := range nights {
		for _, s := range n.Samples {
			k := key{s.Basis, s.Learned}
			all[k] = append(all[k], s)
		}
	}
	var out []Coverage
	for k, samples := range all {
		c := Coverage{Basis: k.basis, Learned: k.learned, Nights: len(samples)}
		var errs, bounds []float64
		for _, s := range samples {
			if math.Abs(s.Error) <= s.Bound {
				c.Covered++
			}
			errs, bounds = append(errs, math.Abs(s.Error)), append(bounds, s.Bound)
		}
		c.Covered /= float64(len(samples))
		c.P99, c.Median = quantile(errs, 0.99), quantile(bounds, 0.5)
		c.Ratio = c.Median / c.P99
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b Coverage) int {
		if a.Learned != b.Learned {
			return map[bool]int{true: -1, false: 1}[a.Learned]
		}
		return strings.Compare(a.Basis, b.Basis)
	})
	return out
}

// CoverageTable prints it.
func CoverageTable(w io.Writer, all []Coverage) {
	fmt.Fprintf(w, "%-10s %-9s %7s %10s %12s %14s %7s\n", "basis", "learned", "nights", "covered %", "p99 error ms", "median bound ms", "ratio")
	for _, c := range all {
		fmt.Fprintf(w, "%-10s %-9s %7d %10.2f %12.1f %14.1f %7.2f\n", c.Basis, map[bool]string{true: "yes", false: "no"}[c.Learned],
			c.Nights, 100*c.Covered, 1e3*c.P99, 1e3*c.Median, c.Ratio)
	}
}

// Missed names nights whose sampled bound did not hold the truth.
func Missed(w io.Writer, nights []*Night, most int) {
	for _, n := range nights {
		for _, s := range n.Samples {
			if math.Abs(s.Error) > s.Bound && most > 0 {
				most--
				fmt.Fprintf(w, "seed %d: %s, learned %v: %.1f ms off, bound %.1f ms\n", n.Seed, s.Basis, s.Learned, 1e3*s.Error, 1e3*s.Bound)
			}
		}
	}
}

// Needless names the nights that were refused most, and by which term of the guard.
func Needless(w io.Writer, nights []*Night, most int) {
	sum := func(n *Night) (t int) {
		for _, v := range n.Why {
			t += v
		}
		return t
	}
	worst := slices.Clone(nights)
	slices.SortStableFunc(worst, func(a, b *Night) int { return sum(b) - sum(a) })
	for _, n := range worst[:min(most, len(worst))] {
		if sum(n) > 0 {
			fmt.Fprintf(w, "seed %d: needlessly refused by %v (s)\n", n.Seed, n.Why)
		}
	}
}
