package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// The error of a clock shrinks by itself while the guard grows, at first faster than that and then more slowly:
// their sum reaches the tolerance, and lies below it again later. Good-for ends where it first does.
func TestGoodForWhileTheErrorShrinks(t *testing.T) {
	for _, ppm := range []float64{-16, -20, -24} { // by how much the clock gains
		w := newWorld(t, clockcheck.Learned{})
		w.run(2 * time.Hour)
		m := &w.got.Modes[0]
		asked := 0
		for room := 0.02; room > 0.0004; room *= 0.93 { // s: what is left of the tolerance
			by := m.Mode.Tolerance.Seconds() - w.got.Guard - room - w.got.Error
			w.sys += by
			w.j.Stepped(time.Duration(by * 1e9))
			w.j.Steered(clockcheck.Steered{On: true, FreqPPM: ppm - w.ppm})
			w.run(4 * time.Second)
			if m.Verdict != clockcheck.Within || m.GoodFor < 1 {
				continue
			}
			asked++
			for at := 1.0; at < m.GoodFor-1; at = math.Min(at*1.02+1, m.GoodFor) {
				if off, guard := w.j.Ahead(w.got.Error, at); math.Abs(off)+guard > m.Mode.Tolerance.Seconds()+1e-4 {
					t.Fatalf("%g ppm, %.4f s left: good for %.0f s is said, after %.0f s it is %.4f s off ± %.4f s", ppm, room, m.GoodFor, at, off, guard)
				}
			}
		}
		if asked < 20 {
			t.Errorf("%g ppm: it was within %d times: this proves little", ppm, asked)
		}
	}
}
