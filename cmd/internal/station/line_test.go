package station

import (
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// A line that is as full as it can be is busy from the first window on, and one that
// rests for a twentieth of the time is not.
func TestBusyLine(t *testing.T) {
	for _, row := range []struct {
		bytes int // a second, at 4800 baud
		busy  bool
	}{{480, true}, {470, true}, {456, false}, {240, false}} {
		var l line
		for s := range 200 {
			l.bytes += row.bytes
			l.at(timescale.Local(time.Duration(s+1)*time.Second), 4800)
			if s < 60 && l.busy {
				t.Fatalf("%d bytes a second: busy after %d s", row.bytes, s)
			}
		}
		if l.busy != row.busy {
			t.Errorf("%d bytes a second: busy %v", row.bytes, l.busy)
		}
	}
}
