package rtc

import (
	"testing"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// Each twelve minutes from the first reading after its writes began hold one of them, where the clock stood there
// already; else from the first reading that one must have come before.
func TestWritesStoodStillOver(t *testing.T) {
	for _, tt := range []struct {
		name   string
		first  float64
		last   timescale.Local // s
		writes int
	}{
		{"the clock stands where the kernel leaves it from the first reading on", 0.01, 2400, 3},
		{"the first readings find the clock elsewhere", 0.3, 2400, 2},
		{"the kernel may not have written the clock yet", 0.01, 700, 0},
	} {
		var c Clock
		c.KernelWrites(true)
		for at := timescale.Local(100); at <= tt.last; at += 100 {
			off := tt.first
			if at > 500 {
				off = 0.02
			}
			c.LearnKernel(at*second, off)
		}
		var l clockcheck.LearnedRTC
		if c.Keep(&l); l.KernelWrites != tt.writes {
			t.Errorf("%s: %d writes, want %d", tt.name, l.KernelWrites, tt.writes)
		}
	}
}
