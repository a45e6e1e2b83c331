package station

import (
	"crypto/sha1"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/leaps"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
)

// served is what the station would tell other devices now.
func (s *sim) served() (trusted bool, stratum uint8, id string, leap uint8) {
	s.tick(0)
	out := s.Served(Tick{Local: s.local, System: s.utc(), BoottimeS: 1, AsleepS: s.asleep})
	return out.Trusted, out.Stratum, string(out.RefID[:]), out.Leap
}

// server has three servers answer alike: the first alone is not vouched for while others
// are being asked.
func (s *sim) server(leap, stratum int) {
	for i := byte(1); i <= 3; i++ {
		s.Network(netref.Reading{Server: fmt.Sprintf("192.0.2.%d", i), At: s.local, UTC: s.utc(), Bound: 20 * time.Millisecond, Stratum: stratum, Leap: leap,
			ID: [4]byte{192, 0, 2, i}, Follows: [4]byte{192, 0, 2, 9}, Port: 123})
	}
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
	want("in holdover", true, 13, "\xf0NM\x01")
	s.cfg.Live = false
	want("in a simulation", false, 0, "\x00\x00\x00\x00")
}

// leapList is a list of leap seconds that holds until a day, with an entry for each
// change of TAI − UTC.
func leapList(t *testing.T, expires string, entries ...string) *leaps.Table {
	t.Helper()
	count := func(day string) string {
		u, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		return strconv.FormatInt(u.Unix()+2_208_988_800, 10)
	}
	text, digits := "#$ "+count("2031-01-05")+"\n#@ "+count(expires)+"\n", count("2031-01-05")+count(expires)
	for _, e := range append([]string{"1972-01-01 10"}, entries...) {
		day, tai, _ := strings.Cut(e, " ")
		text += count(day) + " " + tai + "\n"
		digits += count(day) + tai
	}
	sum := sha1.Sum([]byte(digits))
	table, err := leaps.Read(strings.NewReader(fmt.Sprintf("%s#h %x %x %x %x %x\n", text, sum[:4], sum[4:8], sum[8:12], sum[12:16], sum[16:])))
	if err != nil {
		t.Fatal(err)
	}
	return table
}

// A leap second is announced on the last day of the month, by the list or, where it
// cannot tell, by servers if that is June or December; just before and for a while
// after it nothing is served. The values are those of RFC 5905 figure 9: 1 is a last
// minute of 61 s, 2 one of 59 s.
func TestServedAroundALeapSecond(t *testing.T) {
	const longest = "2032-06-28"
	inserted, left := leapList(t, longest, "2032-01-01 11"), leapList(t, longest, "2032-01-01 9")
	none, ended, short := leapList(t, longest), leapList(t, "2031-12-28", "2032-01-01 11"), leapList(t, "2031-12-28")
	april := leapList(t, longest, "2031-04-01 11")
	for _, tt := range []struct {
		name    string
		list    *leaps.Table
		server  int // what a server says
		at      string
		leap    uint8
		trusted bool
	}{
		{"servers, no such month", nil, 1, "2031-11-30T23:50:00Z", 0, true},
		{"servers, the month", nil, 1, "2031-12-30T23:59:59Z", 0, true},
		{"servers, the day", nil, 1, "2031-12-31T00:00:00Z", 1, true},
		{"servers, left out", nil, 2, "2031-12-31T00:00:00Z", 2, true},
		{"servers, soon", nil, 1, "2031-12-31T23:59:50Z", 1, true},
		{"servers, now", nil, 1, "2031-12-31T23:59:59Z", 1, false},
		{"list, the month", inserted, 0, "2031-12-30T23:59:59Z", 0, true},
		{"list, the day", inserted, 0, "2031-12-31T00:00:00Z", 1, true},
		{"list, against servers", inserted, 2, "2031-12-31T00:00:00Z", 1, true},
		{"list, now", inserted, 0, "2031-12-31T23:59:59Z", 1, false},
		{"list, left out", left, 0, "2031-12-31T12:00:00Z", 2, true},
		{"list, another month", april, 0, "2031-03-31T12:00:00Z", 1, true},
		{"list has none, servers have", none, 1, "2031-12-31T23:59:59Z", 0, true},
		{"list has expired", ended, 0, "2031-12-31T12:00:00Z", 0, true},
		{"list has expired, servers know", ended, 1, "2031-12-31T12:00:00Z", 1, true},
		{"list ends before the month", short, 1, "2031-12-31T12:00:00Z", 1, true},
	} {
		u, err := time.Parse(time.RFC3339, tt.at)
		if err != nil {
			t.Fatal(err)
		}
		s := newSim(t, 10)
		s.cfg.Leaps = tt.list
		s.local += timescale.Local(timescale.UTCOf(u).Sub(begin))
		s.server(tt.server, 2)
		if trusted, _, _, leap := s.served(); trusted != tt.trusted || leap != tt.leap {
			t.Errorf("%s: %s: trusted %v, leap %d", tt.name, tt.at, trusted, leap)
		}
		if tt.trusted {
			continue
		}
		s.local = s.local.Add(10 * time.Minute)
		if trusted, _, _, _ := s.served(); trusted {
			t.Errorf("%s: served 10 min after a leap second", tt.name)
		}
		s.local = s.local.Add(11 * time.Minute)
		s.server(0, 2)
		if trusted, _, _, leap := s.served(); !trusted || leap != 0 {
			t.Errorf("%s: not served 20 min after a leap second", tt.name)
		}
	}
}

// The kernel and the clients are told by one list.
func TestKernelAndClientsHaveOneList(t *testing.T) {
	s := newSim(t, 10)
	cfg := s.cfg
	cfg.Steer, cfg.Leaps = &steer.Config{Modes: cfg.Judge.Modes}, leapList(t, "2032-06-28", "2032-01-01 11")
	s.Station = New(cfg, clockcheck.Learned{})
	s.local += timescale.Local(timescale.UTCOf(time.Date(2031, 12, 31, 12, 0, 0, 0, time.UTC)).Sub(begin))
	s.RTCMissing("This computer has no hardware clock.")
	s.server(0, 2)
	at := Tick{Local: s.local, System: s.utc(), BoottimeS: 1, Kernel: &steer.Kernel{}}
	s.Tick(at)
	if a := s.Actions(); !a.SetStatus || !a.Status.Insert {
		t.Errorf("the kernel is told %+v", a.Status)
	}
	if got := s.Served(at); got.Leap != 1 {
		t.Errorf("clients are told %d", got.Leap)
	}
}

// Bases that come from no simulated reference here have their rank all the same.
func TestRank(t *testing.T) {
	for basis, want := range map[clockcheck.Basis]uint8{clockcheck.BasisRTC: 15, clockcheck.BasisOperator: 14, clockcheck.BasisHoldover: 13, clockcheck.BasisPPS: 1,
		clockcheck.BasisGNSS: 1, clockcheck.BasisNetwork: 15} {
		if got, _ := rank(&clockcheck.Handed{Basis: basis}); got != want {
			t.Errorf("%s: stratum %d, want %d", basis, got, want)
		}
	}
}
