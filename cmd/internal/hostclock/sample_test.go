package hostclock

import (
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// script plays clock readings: widths are how long each bracket of the raw clock is.
func script(widths ...int64) (clock func(uintptr) int64, brackets *int) {
	brackets = new(int)
	raw, mono, odd := int64(1_000_000), int64(5_000), false
	return func(id uintptr) int64 {
		switch id {
		case clockReal:
			return raw + 1_000_000_000
		case clockBoot:
			return mono + 70_050
		case clockMono:
			mono += 100
			return mono
		}
		if odd = !odd; odd {
			*brackets++
			raw += 10_000
		} else {
			raw += widths[min(*brackets, len(widths))-1]
		}
		return raw
	}, brackets
}

// Of up to five brackets the narrowest counts: the instant is its middle, within half of it.
// The first that is narrow enough ends the search.
func TestSampleTakesTheNarrowest(t *testing.T) {
	for _, tc := range []struct {
		name     string
		widths   []int64
		enough   time.Duration
		brackets int
		width    time.Duration
		local    timescale.Local
	}{
		{"the third of five", []int64{900, 500, 301, 700, 400}, 0, 5, 301, 1_000_000 + 30_000 + 1400 + 150},
		{"the first stays where none is narrower", []int64{300, 300, 300, 300, 300}, 0, 5, 300, 1_000_000 + 10_000 + 150},
		{"just narrow enough", []int64{900, 500, 301, 700, 400}, 500, 2, 500, 1_000_000 + 20_000 + 900 + 250},
		{"not narrow enough by 1 ns", []int64{900, 500, 301, 700, 400}, 499, 3, 301, 1_000_000 + 30_000 + 1400 + 150},
	} {
		clock, brackets := script(tc.widths...)
		p := sample(clock, tc.enough)
		if *brackets != tc.brackets || p.Width != tc.width || p.Local != tc.local {
			t.Errorf("%s: %d brackets, %d ns wide, at %d; want %d, %d, %d", tc.name, *brackets, p.Width, p.Local, tc.brackets, tc.width, tc.local)
		}
		if off := p.System.Sub(timescale.UTC(p.Local)); off > time.Second || off < time.Second-p.Width {
			t.Errorf("%s: the system clock is %v ahead, want a second less half a bracket", tc.name, off)
		}
		if p.SuspendOffset != 70_000 || p.Boottime != 5_100+70_050 {
			t.Errorf("%s: asleep for %v, boot clock %v", tc.name, p.SuspendOffset, p.Boottime)
		}
	}
}
