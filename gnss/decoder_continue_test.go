package gnss

import (
	"testing"

	"noonmark/clockcheck/timescale"
)

// A reader that rests between reads of one burst must not make two
// bursts of it: the arrival stays that of the burst's first byte.
func TestContinueIsNoSilence(t *testing.T) {
	burst := "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n" +
		"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n"
	for _, flowing := range []bool{true, false} {
		d := NewDecoder(Config{})
		at := timescale.Local(10e9)
		d.Feed([]byte(burst[:1]), at)
		for i := 1; i < len(burst); i += 30 {
			at += 600e6
			p := []byte(burst[i:min(i+30, len(burst))])
			if flowing {
				d.Continue(p, at)
			} else {
				d.Feed(p, at)
			}
		}
		d.Flush(at + 2e9)
		e, ok := d.Next()
		if !ok {
			t.Fatalf("flowing %v: no epoch", flowing)
		}
		if whole := e.Types == TypeGGA|TypeRMC && e.TimeArrival == 10e9 && e.Arrival == 10e9; whole != flowing {
			t.Errorf("flowing %v: types %b, arrival %d", flowing, e.Types, e.Arrival)
		}
	}
}
