package track

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/grid"

	"pgregory.net/rapid"
)

func at(s float64) timescale.UTC { return timescale.UTC(s * 1e9) }

func point(t interface{ Fatal(...any) }, lat, lon float64) grid.Point {
	p, err := grid.Degrees(lat, lon)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

type fix struct{ s, lat, lon float64 }

func walk(t *testing.T, length int, fixes ...fix) *Walk {
	t.Helper()
	w := New(length)
	for _, f := range fixes {
		if !w.Fix(at(f.s), point(t, f.lat, f.lon)) {
			t.Fatalf("%v is refused", f)
		}
	}
	return w
}

// Visits by hand: along the equator and a meridian, even speed makes the time of a
// crossing a matter of proportion.
func TestVisits(t *testing.T) {
	const second, third = 1.0, 1.0 / 3
	for _, c := range []struct {
		name   string
		length int
		fixes  []fix
		want   []Visit // Cell is compared by its locator, below
		names  []string
	}{
		{"one fix", 6, []fix{{10, 0.01, 0.01}}, []Visit{{Entry: Passage{At: at(10), By: Fix}, Exit: Passage{At: at(10), By: Fix}, Fixes: 1}}, []string{"JJ00aa"}},
		{"stays", 6, []fix{{10, 0.01, 0.01}, {11, 0.011, 0.01}}, []Visit{{Entry: Passage{At: at(10), By: Fix}, Exit: Passage{At: at(11), By: Fix}, Fixes: 2}}, []string{"JJ00aa"}},
		{"crosses at a third", 4, []fix{{0, 0.5, 1.9999}, {3, 0.5, 2.0002}},
			[]Visit{{Exit: Passage{At: at(second), By: Border}, Entry: Passage{At: at(0), By: Fix}, Fixes: 1}, {Entry: Passage{At: at(second), By: Border}, Exit: Passage{At: at(3), By: Fix}, Fixes: 1}}, []string{"JJ00", "JJ10"}},
		{"onto the border itself", 4, []fix{{0, 0.5, 1.9999}, {1, 0.5, 2}},
			[]Visit{{Entry: Passage{At: at(0), By: Fix}, Exit: Passage{At: at(1), By: Border}, Fixes: 1}, {Entry: Passage{At: at(1), By: Border}, Exit: Passage{At: at(1), By: Fix}, Fixes: 1}}, []string{"JJ00", "JJ10"}},
		{"across the antimeridian", 4, []fix{{0, 0.5, 179.9999}, {3, 0.5, -179.9998}},
			[]Visit{{Entry: Passage{At: at(0), By: Fix}, Exit: Passage{At: at(1), By: Border}, Fixes: 1}, {Entry: Passage{At: at(1), By: Border}, Exit: Passage{At: at(3), By: Fix}, Fixes: 1}}, []string{"RJ90", "AJ00"}},
		{"a cell only crossed", 8, []fix{{0, 0.001, 0.008}, {60, 0.001, 0.008 + 1.0/120}, {120, 0.001, 0.008 + 3.0/120}},
			[]Visit{
				{Entry: Passage{At: at(0), By: Fix}, Exit: Passage{At: at(60 * (1.0/120 - 0.008) * 120), By: Border}, Fixes: 1},
				{Entry: Passage{At: at(60 * (1.0/120 - 0.008) * 120), By: Border}, Exit: Passage{At: at(60 + 30*(2.0/120-0.008-1.0/120)*120), By: Border}, Fixes: 1},
				{Entry: Passage{At: at(60 + 30*(2.0/120-0.008-1.0/120)*120), By: Border}, Exit: Passage{At: at(60 + 30*(3.0/120-0.008-1.0/120)*120), By: Border}},
				{Entry: Passage{At: at(60 + 30*(3.0/120-0.008-1.0/120)*120), By: Border}, Exit: Passage{At: at(120), By: Fix}, Fixes: 1},
			}, []string{"JJ00aa00", "JJ00aa10", "JJ00aa20", "JJ00aa30"}},
		{"a gap", 4, []fix{{0, 0.5, 1.9}, {301, 0.5, 2.1}},
			[]Visit{{Entry: Passage{At: at(0), By: Fix}, Exit: Passage{At: at(0), By: Gap}, Fixes: 1}, {Entry: Passage{At: at(301), By: Gap}, Exit: Passage{At: at(301), By: Fix}, Fixes: 1}}, []string{"JJ00", "JJ10"}},
		{"a gap, and still there", 4, []fix{{0, 0.5, 1.9}, {3600, 0.5, 1.8}},
			[]Visit{{Entry: Passage{At: at(0), By: Fix}, Exit: Passage{At: at(3600), By: Fix}, Fixes: 2, Unseen: time.Hour}}, []string{"JJ00"}},
		{"a leap that nobody makes", 4, []fix{{0, 0.5, 1.9}, {1, 0.5, 5.1}, {2, 0.5, 1.9}},
			[]Visit{{Entry: Passage{At: at(0), By: Fix}, Exit: Passage{At: at(0), By: Gap}, Fixes: 1}, {Entry: Passage{At: at(1), By: Gap}, Exit: Passage{At: at(1), By: Gap}, Fixes: 1}, {Entry: Passage{At: at(2), By: Gap}, Exit: Passage{At: at(2), By: Fix}, Fixes: 1}}, []string{"JJ00", "JJ20", "JJ00"}},
		{"over the pole", 2, []fix{{0, 89.9999, 10}, {2, 89.9999, -170}},
			[]Visit{{Entry: Passage{At: at(0), By: Fix}, Exit: Passage{At: at(1), By: Border}, Fixes: 1}, {Entry: Passage{At: at(1), By: Border}, Exit: Passage{At: at(2), By: Fix}, Fixes: 1}}, []string{"JR", "AR"}},
	} {
		got := walk(t, c.length, c.fixes...).Visits()
		if len(got) != len(c.want) {
			t.Errorf("%s: %d visits, want %d: %+v", c.name, len(got), len(c.want), got)
			continue
		}
		for i, w := range c.want {
			g := got[i]
			near := func(a, b Passage) bool {
				return a.By == b.By && math.Abs(a.At.Sub(b.At).Seconds()) <= 0.0011
			}
			if g.Cell.Locator() != c.names[i] || !near(g.Entry, w.Entry) || !near(g.Exit, w.Exit) || g.Fixes != w.Fixes || g.Unseen != w.Unseen {
				t.Errorf("%s: visit %d %s: %+v, want %+v", c.name, i, g.Cell.Locator(), g, w)
			}
		}
	}
}

func TestLateFixesAndBreaks(t *testing.T) {
	w := walk(t, 4, fix{10, 0.5, 1.9999})
	for _, s := range []float64{10, 9} {
		if w.Fix(at(s), point(t, 0.5, 5)) {
			t.Errorf("a fix at %v after one at 10 is taken", s)
		}
	}
	w.Break()
	w.Fix(at(11), point(t, 0.5, 2.0001))
	if v := w.Visits(); len(v) != 2 || v[0].Exit.By != Gap || v[0].Exit.At != at(10) || v[1].Entry.By != Gap {
		t.Errorf("%+v", v)
	}
}

// Laws: visits follow each other without overlap; a border is where two visits meet,
// at one instant and one place; the next cell is another; each fix is counted once;
// and wherever the station was between two fixes, looked at in many instants, it was
// in the cell that the record names.
func TestLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := 2 * rapid.IntRange(1, 5).Draw(t, "pairs")
		lat := rapid.SampledFrom([]float64{0, -20.13, 66, 89.9, -89.9}).Draw(t, "lat")
		lon := rapid.SampledFrom([]float64{0, -67.49, 180, 10}).Draw(t, "lon")
		if lat*lat > 89*89 { // smaller cells are centimetres wide there
			length = min(length, 6)
		}
		p, w := point(t, lat, lon), New(length)
		n := rapid.IntRange(1, 8).Draw(t, "fixes")
		var path []Passage // every 0.1 s, along the same geodesics
		for i := range n {
			w.Fix(at(float64(10*i)), p)
			heading, metres := rapid.Float64Range(0, 360).Draw(t, "heading"), rapid.Float64Range(0, 600).Draw(t, "metres")
			from := p
			for k := range 100 {
				p, _ = grid.Direct(from, heading, metres*float64(k)/100)
				if s := float64(10*i) + float64(k)/10; i < n-1 {
					path = append(path, Passage{At: at(s), Point: p})
				}
			}
			p, _ = grid.Direct(from, heading, metres)
		}
		visits, fixes := w.Visits(), 0
		for i, v := range visits {
			fixes += v.Fixes
			if !v.Cell.Contains(v.Entry.Point) || v.Exit.At < v.Entry.At {
				t.Fatalf("visit %d: %+v", i, v)
			}
			if i > 0 && (visits[i-1].Exit != v.Entry || visits[i-1].Cell == v.Cell || v.Entry.By != Border) {
				t.Fatalf("visits %d and %d do not meet: %+v %+v", i-1, i, visits[i-1], v)
			}
		}
		if fixes != n || visits[0].Entry.By != Fix || visits[len(visits)-1].Exit.By != Fix {
			t.Fatalf("%d fixes of %d: %+v", fixes, n, visits)
		}
		k := 0
		for _, p := range path {
			for visits[k].Exit.At < p.At {
				k++
			}
			if cell := p.Point.Cell(length); cell != visits[k].Cell && !beside(cell, visits, p) {
				t.Fatalf("at %v in %s, not in %s", p.At, cell.Locator(), visits[k].Cell.Locator())
			}
		}
	})
}

// beside reports whether the cell is visited within what a millisecond, the rounding
// to 1e-9 degree, or a line that runs along a border may hide: 0.3 s either way or
// a millimetre.
func beside(cell grid.Cell, visits []Visit, p Passage) bool {
	for _, v := range visits {
		if v.Cell == cell && v.Entry.At.Sub(p.At) < 300*time.Millisecond && p.At.Sub(v.Exit.At) < 300*time.Millisecond {
			return true
		}
	}
	for heading := 0.0; heading < 360; heading += 45 {
		near, _ := grid.Direct(p.Point, heading, 0.001)
		for _, v := range visits {
			if v.Cell.Contains(near) && v.Entry.At <= p.At && p.At <= v.Exit.At {
				return true
			}
		}
	}
	return false
}
