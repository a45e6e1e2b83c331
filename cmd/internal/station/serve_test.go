package station

import (
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
)

// served is what the station would tell other devices now.
func (s *sim) served() (trusted bool, stratum uint8, id string, leap uint8) {
	s.tick(0)
	out := s.Served(Tick{Local: s.local, System: s.utc(), BoottimeS: 1, AsleepS: s.asleep})
	return out.Trusted, out.Stratum, string(out.RefID[:]), out.Leap
}

func (s *sim) server(leap, stratum int) {
	s.Network(netref.Reading{Server: "192.0.2.1", At: s.local, UTC: s.utc(), Bound: 20 * time.Millisecond, Stratum: stratum, Leap: leap,
		ID: [4]byte{192, 0, 2, 1}, Follows: [4]byte{192, 0, 2, 9}, Port: 123})
}

func TestServed(t *testing.T) {
	s := newSim(t, 10)
	want := func(when string, trusted bool, stratum uint8, id string) {
		t.Helper()
		if gt, gs, gi, _ := s.served(); gt != trusted || gs != stratum || gi != id {
			t.Errorf("%s: trusted %v, stratum %d, id %q", when, gt, gs, gi)
		}
	}
	want("at the start", false, 0, "\x00\x00\x00\x00")
	s.server(0, 2)
	want("after a server's answer", true, 3, "\xc0\x00\x02\x01")
	s.server(0, 15)
	want("one hop too many, which is not served", true, 16, "\xc0\x00\x02\x01")
	s.server(0, 2)
	s.seconds(60, "GPRMC,TIME.00,A,2008.0280,S,06729.3460,W,0.1,0.0,DATE,,,A")
	want("by the receiver", true, 1, "GPS\x00")
	s.seconds(1500)
	want("in holdover", true, 10, "\x7f\x00\x00\x01")
	s.cfg.Live = false
	want("in a simulation", false, 0, "\x00\x00\x00\x00")
}

// A leap second is announced for the end of the month, if that is June or December;
// just before and for a while after it nothing is served.
func TestServedAroundALeapSecond(t *testing.T) {
	for _, tt := range []struct {
		at      string
		leap    uint8
		trusted bool
	}{
		{"2031-11-30T23:50:00Z", 0, true},
		{"2031-12-01T00:00:00Z", 1, true},
		{"2031-12-31T23:59:50Z", 1, true},
		{"2031-12-31T23:59:59Z", 1, false},
	} {
		u, err := time.Parse(time.RFC3339, tt.at)
		if err != nil {
			t.Fatal(err)
		}
		s := newSim(t, 10)
		s.local += timescale.Local(timescale.UTCOf(u).Sub(begin))
		s.server(1, 2)
		if trusted, _, _, leap := s.served(); trusted != tt.trusted || leap != tt.leap {
			t.Errorf("%s: trusted %v, leap %d", tt.at, trusted, leap)
		}
		if tt.trusted {
			continue
		}
		s.local = s.local.Add(10 * time.Minute)
		if trusted, _, _, _ := s.served(); trusted {
			t.Error("served 10 min after a leap second")
		}
		s.local = s.local.Add(11 * time.Minute)
		s.server(0, 2)
		if trusted, _, _, leap := s.served(); !trusted || leap != 0 {
			t.Error("not served 20 min after a leap second")
		}
	}
}

// Bases that come from no simulated reference here have their rank all the same.
func TestRank(t *testing.T) {
	for basis, want := range map[clockcheck.Basis]uint8{clockcheck.BasisRTC: 12, clockcheck.BasisOperator: 11, clockcheck.BasisHoldover: 10, clockcheck.BasisPPS: 1,
		clockcheck.BasisGNSS: 1, clockcheck.BasisNetwork: 15} {
		if got, _ := rank(&clockcheck.Handed{Basis: basis}); got != want {
			t.Errorf("%s: stratum %d, want %d", basis, got, want)
		}
	}
}
