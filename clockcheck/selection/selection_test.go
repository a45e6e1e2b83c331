package selection

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestSelect(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	type result struct {
		lo, hi float64
		f      int
		ok     bool
	}
	tests := []struct {
		name    string
		sources []Interval
		want    result
	}{
		{"nobody", nil, result{}},
		{"not a number", []Interval{{nan, 0, 1, false}}, result{}},
		{"upside down", []Interval{{1, 0, -1, false}}, result{}},
		{"one sound, one nonsense", []Interval{{-1, 0, 1, false}, {nan, nan, nan, false}}, result{}},
		{"two sound, one nonsense", []Interval{{-1, 0, 1, false}, {-2, 0, 1, false}, {nan, nan, nan, false}}, result{-1, 1, 1, true}},
		{"touching is not agreeing", []Interval{{0, .5, 1, false}, {1, 1.5, 2, false}}, result{}},
		// Worked by hand from the text of RFC 5905 section 11.2.1, with d ≤ f.
		{"no majority", []Interval{{8, 10, 12, false}, {11, 12, 13, false}, {14, 14.5, 15, false}}, result{}},
		{"two that disagree", []Interval{{-.05, 0, .05, false}, {.95, 1, 1.05, false}}, result{}},
		{"three disjoint", []Interval{{0, 1, 2, false}, {3, 4, 5, false}, {6, 7, 8, false}}, result{}},
		{"midpoint outside", []Interval{{8, 10, 12, false}, {11, 12, 13, false}, {10, 11, 12, false}}, result{10, 12, 1, true}},
		{"the same, and it may be anywhere", []Interval{{8, 10, 12, true}, {11, 12, 13, false}, {10, 11, 12, false}}, result{11, 12, 0, true}},
		{"one falseticker", []Interval{{-.05, 0, .05, false}, {-.02, .03, .08, false}, {-.04, .01, .06, false}, {.9, 1, 1.1, false}}, result{-.02, .05, 1, true}},
		{"two that agree", []Interval{{-.05, 0, .05, false}, {-.02, .03, .08, false}}, result{-.02, .05, 0, true}},
		{"alone", []Interval{{-3, 1, 4, false}}, result{-3, 4, 0, true}},
		{"one knows nothing", []Interval{{-inf, 0, inf, false}, {1, 2, 3, false}, {2, 2.5, 4, false}}, result{1, 4, 1, true}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got result
			got.lo, got.hi, got.f, got.ok = Select(tt.sources)
			if got != tt.want {
				t.Errorf("got %+v, want %+v", got, tt.want)
			}
		})
	}
}

// dumb is the same rule put as sets: l is the least lowpoint that m−f closed
// intervals cover, u the greatest such highpoint, d the midpoints outside.
func dumb(sources []Interval) (lo, hi float64, f int, ok bool) {
	covered := func(x float64) (n int) {
		for _, s := range sources {
			if s.Low <= x && x <= s.High {
				n++
			}
		}
		return n
	}
	for f = 0; 2*f < len(sources); f++ {
		l, u, d := math.Inf(1), math.Inf(-1), 0
		for _, s := range sources {
			if covered(s.Low) >= len(sources)-f {
				l = min(l, s.Low)
			}
			if covered(s.High) >= len(sources)-f {
				u = max(u, s.High)
			}
		}
		for _, s := range sources {
			if s.Mid < l || s.Mid > u {
				d++
			}
		}
		if l < u && d <= f {
			return l, u, f, true
		}
	}
	return 0, 0, 0, false
}

func TestSelectEqualsDumb(t *testing.T) {
	found := 0
	rapid.Check(t, func(t *rapid.T) {
		// Small integers, so that ties are common.
		sources := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Interval {
			m := rapid.IntRange(0, 12).Draw(t, "mid")
			return Interval{
				Low: float64(m - rapid.IntRange(0, 6).Draw(t, "below")), Mid: float64(m),
				High: float64(m + rapid.IntRange(0, 6).Draw(t, "above")),
			}
		}), 0, 20).Draw(t, "sources")
		lo, hi, f, ok := Select(sources)
		lo2, hi2, f2, ok2 := dumb(sources)
		if lo != lo2 || hi != hi2 || ok != ok2 || ok && f != f2 {
			t.Fatalf("[%v, %v] f=%d %v, dumb [%v, %v] f=%d %v", lo, hi, f, ok, lo2, hi2, f2, ok2)
		}
		if ok {
			found++
		}
	})
	if found == 0 {
		t.Error("no case with a majority was tried")
	}
}

// The law: when no more sources are wrong than the result allowed for, the
// truth lies in the result.
func TestTruthIsInside(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const truth = 0.0
		n := rapid.IntRange(1, 16).Draw(t, "n")
		bad := rapid.IntRange(0, (n-1)/2).Draw(t, "bad")
		var sources []Interval
		for i := range n {
			width := rapid.Float64Range(0.01, 1).Draw(t, "width")
			at := rapid.Float64Range(-1, 1).Draw(t, "at") * width
			if i < bad {
				at = width * rapid.Float64Range(1.01, 5).Draw(t, "lie")
			}
			sources = append(sources, Interval{Low: at - width, Mid: at, High: at + width})
		}
		lo, hi, f, ok := Select(sources)
		if ok && bad <= f && (truth < lo || truth > hi) {
			t.Fatalf("%d bad of %d, f=%d: [%v, %v]", bad, n, f, lo, hi)
		}
	})
}

func TestNoAllocation(t *testing.T) {
	sources := make([]Interval, onStack)
	for i := range sources {
		sources[i] = Interval{Low: float64(i) - 20, Mid: float64(i), High: float64(i) + 20}
	}
	if n := testing.AllocsPerRun(100, func() { Select(sources) }); n != 0 {
		t.Errorf("%v allocations for %d sources", n, onStack)
	}
}

func FuzzSelect(f *testing.F) {
	f.Add(0.0, 1.0, 2.0, 1.0, 1.5, 3.0, math.NaN(), math.Inf(1), math.Inf(-1))
	f.Fuzz(func(t *testing.T, a, b, c, d, e, g, h, i, j float64) {
		lo, hi, n, ok := Select([]Interval{{a, b, c, false}, {d, e, g, false}, {h, i, j, false}})
		if ok && (!(lo < hi) || n > 1) {
			t.Fatalf("[%v, %v] f=%d", lo, hi, n)
		}
	})
}

func BenchmarkSelect(b *testing.B) {
	s := []Interval{{-.05, 0, .05, false}, {-.02, .03, .08, false}, {-.04, .01, .06, false}, {.9, 1, 1.1, false}}
	for b.Loop() {
		Select(s)
	}
}
