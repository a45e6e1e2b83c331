package steer

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

func named(t interface{ Fatal(...any) }, names ...string) (out []clockcheck.Mode) {
	for _, n := range names {
		m, err := clockcheck.ModeNamed(n)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, m)
	}
	return out
}

func TestGaps(t *testing.T) {
	s := func(f float64) time.Duration { return time.Duration(f * 1e9) }
	for _, row := range []struct {
		name  string
		shown []string
		inUse string
		cycle float64
		want  []span
	}{
		// FT8: 0.5 s + 79 symbols of 0.160 s of 15 s. FT4: 0.5 + 105 × 0.048 of 7.5.
		{"in use", []string{"FT8", "WSPR"}, "ft8", 15, []span{{s(13.14), s(15)}}},
		{"one shown", []string{"FT4"}, "", 7.5, []span{{s(5.54), s(7.5)}}},
		{"common", []string{"FT8", "FT4"}, "", 15, []span{{s(13.14), s(15)}}},
		{"common of four", []string{"FT8", "FT4", "JS8-15", "WSPR"}, "", 120, []span{{s(118.14), s(120)}}},
		{"one without a gap is left out", []string{"FT8", "MSK144"}, "", 15, []span{{s(14.5), s(15)}}},
		{"fills its period", []string{"MSK144"}, "MSK144", 15, []span{{s(14.5), s(15)}}},
		{"not shown, not in use", nil, "", 0, nil},
	} {
		g := gapsOf(named(t, row.shown...), row.inUse)
		if g.cycle != s(row.cycle) || len(g.spans) != len(row.want) {
			t.Errorf("%s: %+v", row.name, g)
			continue
		}
		for i, w := range row.want {
			if d := g.spans[i]; (d.from-w.from).Abs() > time.Microsecond || d.to != w.to {
				t.Errorf("%s: %v to %v, want %v to %v", row.name, d.from, d.to, w.from, w.to)
			}
		}
	}
}

// quiet says whether no mode of names is on the air at the clock's time u, by the
// table alone.
func isQuiet(u timescale.UTC, m clockcheck.Mode) bool {
	return mod(time.Duration(u), m.Period) >= m.Offset+m.Length
}

// Law: a step is made in the gap of the mode in use, in the clock's time before and
// after it, whenever there is such an instant within three periods; else in the gap
// before it. And never later than need be.
func TestWaitLaw(t *testing.T) {
	all := clockcheck.Modes()
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SampledFrom(all[:len(all)-1]).Draw(t, "mode")
		now := timescale.UTC(rapid.Int64Range(1.9e18, 1.9e18+1e15).Draw(t, "now"))
		step := time.Duration(rapid.Int64Range(-20e9, 20e9).Draw(t, "step"))
		g := gapsOf([]clockcheck.Mode{m}, m.Name)
		got := g.wait(now, step)
		at := now.Add(got)
		if !isQuiet(at, m) {
			t.Fatalf("in %v the mode may be on the air", got)
		}
		both := func(d time.Duration) bool { return isQuiet(now.Add(d), m) && isQuiet(now.Add(d+step), m) }
		for d := time.Duration(0); d < 2*m.Period; d += 5 * time.Millisecond {
			ahead := both(d) && both(d+edge) && both(d-edge) && both(d+2*edge) // clear of the ends
			if ahead && !both(got) {
				t.Fatalf("waits %v for an instant that is not in both gaps; %v is", got, d)
			}
			if ahead {
				if got > d+2*edge {
					t.Fatalf("waits %v; %v would do", got, d)
				}
				return
			}
		}
	})
}
