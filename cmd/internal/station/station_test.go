package station

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
	"noonmark/status"
)

var begin = timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 0, 0, time.UTC))

// sim drives a station at 1 Hz; its system clock is right.
type sim struct {
	*Station
	local  timescale.Local
	asleep float64
	snap   *status.Snapshot
}

func newSim(t *testing.T, length int) *sim {
	t.Helper()
	ft8, err := clockcheck.ModeNamed("FT8")
	if err != nil {
		t.Fatal(err)
	}
	s := &sim{local: 1e9, Station: New(Config{Judge: clockcheck.Config{Modes: []clockcheck.Mode{ft8}}, Live: true, BootID: "b",
		LocatorLength: length, Steering: status.SteeringObserving, InUse: "FT8"}, clockcheck.Learned{})}
	s.Opened(Source{Device: "/dev/x", Identity: "x"}, s.local)
	return s
}

func (s *sim) utc() timescale.UTC { return begin.Add(s.local.Sub(1e9)) }

func sum(body string) string {
	x := byte(0)
	for i := range len(body) {
		x ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, x)
}

// seconds lets n seconds pass; each brings a burst of 0.1 s latency made of lines.
func (s *sim) seconds(n int, lines ...string) {
	for range n {
		s.local = s.local.Add(time.Second)
		at := s.utc().Time()
		var b strings.Builder
		for _, l := range lines {
			l = strings.ReplaceAll(l, "TIME", at.Format("150405"))
			b.WriteString(sum(strings.ReplaceAll(l, "DATE", at.Format("020106"))))
		}
		s.Bytes([]byte(b.String()), Read{At: s.local.Add(100 * time.Millisecond)})
		s.tick(900 * time.Millisecond)
	}
}

func (s *sim) tick(after time.Duration) {
	l := s.local.Add(after)
	s.snap = s.Tick(Tick{Local: l, System: s.utc().Add(after), BoottimeS: float64(l) / 1e9, AsleepS: s.asleep})
}

const (
	rmc = "GPRMC,TIME,A,2007.8000,S,06729.4000,W,0.0,0.0,DATE,,,A"
	gga = "GPGGA,TIME,2007.8000,S,06729.4000,W,1,09,0.9,3656.0,M,42.0,M,,"
)

func TestNothingKnownIsNull(t *testing.T) {
	s := newSim(t, 10)
	s.tick(0)
	if c := s.snap.Clock; c.Basis != status.BasisNone || c.ErrorS.OK || c.BoundS.OK || c.GuardS.OK || s.snap.Position != nil {
		t.Errorf("numbers out of nothing: %+v", c)
	}
	if m := s.snap.Modes[0]; m.Verdict != status.Unknown || m.MarginS.OK || m.GoodForS.OK || !m.InUse {
		t.Errorf("%+v", m)
	}
}

func TestPlaceIsAsFineAsTheFix(t *testing.T) {
	for _, row := range []struct {
		name    string
		max     int
		gga     string
		locator string
		deg     float64 // latitude published
	}{
		{"a poor fix shortens the locator", 10, strings.Replace(gga, "0.9", "9.9", 1), "FG69gu18", -20.13},
		{"the operator shortens everything", 6, gga, "FG69gu", -20.1458333},
		{"a good fix", 10, gga, "FG69gu18et", -20.13},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := newSim(t, row.max)
			s.seconds(6, rmc, row.gga)
			p := s.snap.Position
			if p == nil || p.Locator != row.locator || math.Abs(p.LatDeg.V-row.deg) > 1e-6 {
				t.Fatalf("%+v, want %s at %v", p, row.locator, row.deg)
			}
			if row.max < 10 && (p.EdgeM.OK || p.AltM.OK || p.BoundM.V < 2000) {
				t.Errorf("a coarse place gives itself away: %+v", p)
			}
		})
	}
}

func TestInvalidFixHasNoPlace(t *testing.T) {
	s := newSim(t, 10)
	s.seconds(5, strings.Replace(rmc, ",A,2007", ",V,2007", 1), strings.Replace(gga, ",W,1,", ",W,0,", 1))
	if s.snap.Position != nil {
		t.Errorf("a place without a fix: %+v", s.snap.Position)
	}
}

func TestReferencesReachTheJudge(t *testing.T) {
	s := newSim(t, 10)
	s.seconds(6, rmc, gga)
	if b := s.snap.Clock.Basis; b != status.BasisGNSS {
		t.Fatalf("basis %s: %s", b, s.snap.References[0].Because)
	}
	s.Network(netref.Reading{Server: "192.0.2.1", At: s.local, UTC: s.utc(), Bound: 10 * time.Millisecond})
	s.RTC(rtc.Reading{Edge: s.local, Half: time.Millisecond, Value: s.utc().Add(-2 * time.Second)})
	s.seconds(4, rmc, gga)
	if m := s.snap.Modes[0]; m.Verdict != status.Within || !m.GoodUntilUTC.OK || m.GoodUntilUTC.V <= s.utc() {
		t.Errorf("%+v, %s", m, s.snap.Clock.Because)
	}
	s.seconds(28*60, rmc, gga) // by now leap-second data are not missing any more
	if l := s.Learned(); l.RTC == nil || math.Abs(l.RTC.OffsetS+2) > 0.05 || len(l.Latencies) != 1 {
		t.Errorf("learned %+v", l)
	} else if k := l.Latencies[0].Key; !strings.Contains(k, "GGA+RMC") || !strings.Contains(k, "1s") {
		t.Errorf("the latency is kept under %q: rate and sentence set are missing", k)
	}
	s.RTCMissing("none")
	s.Lost("unplugged", s.local)
	s.seconds(1)
	if s.snap.Clock.Basis == status.BasisGNSS || s.snap.References[0].Trust != status.Silent {
		t.Errorf("after the loss: %+v", s.snap.References[0])
	}
}

func TestBacklogAndSleepAreNoEvidence(t *testing.T) {
	s := newSim(t, 10)
	for range 30 { // what was waiting comes at once
		s.Bytes([]byte(sum(strings.NewReplacer("TIME", "040000", "DATE", "030231").Replace(rmc))), Read{At: s.local, Stale: true})
	}
	s.tick(2 * time.Second)
	if s.snap.Clock.ErrorS.OK {
		t.Error("a backlog was taken for the time")
	}
	s.local = s.local.Add(5 * time.Second)
	s.seconds(8, rmc, gga)
	if s.snap.Clock.Basis != status.BasisGNSS {
		t.Fatalf("basis %s", s.snap.Clock.Basis)
	}
	s.asleep = 3600
	s.tick(950 * time.Millisecond)
	if s.snap.Clock.GuardS.OK {
		t.Error("the time before the sleep was carried over it")
	}
}

// A receiver that is switched off or comes late: the port stays open, nothing comes from
// it for a while, and then it speaks, perhaps at another speed.
func TestSilentReceiverSpeaksAgain(t *testing.T) {
	s := newSim(t, 10)
	s.Lost("/dev/x is open but silent", s.local)
	for _, baud := range []int{115200, 9600} {
		s.local = s.local.Add(40 * time.Second)
		s.seconds(2, rmc, gga)
		if r := s.snap.References[0]; r.Trust != status.Silent || s.snap.Clock.Basis == status.BasisGNSS {
			t.Fatalf("nothing was said of sentences, but: %+v", r)
		}
		s.Heard(baud, s.local)
		s.seconds(15, rmc, gga)
		if s.snap.Clock.Basis != status.BasisGNSS || s.snap.Position == nil || s.snap.Receiver.Baud != baud {
			t.Fatalf("heard again: basis %s, %+v, %+v", s.snap.Clock.Basis, s.snap.Receiver, s.snap.References[0])
		}
		s.Lost("/dev/x is open but silent", s.local)
		s.tick(950 * time.Millisecond)
	}
}

func TestEventsAreKeptShort(t *testing.T) {
	s := newSim(t, 10)
	for range 3 * maxEvents {
		s.Opened(Source{Device: "/dev/x"}, s.local)
		s.Lost("unplugged", s.local)
		s.seconds(1)
	}
	if n := len(s.snap.Events); n != maxEvents {
		t.Errorf("%d events", n)
	}
}

// TestBattery: what the chip says of its cell reaches the status, and an event when
// it is no longer good. That it ran on the cell is no fault.
func TestBattery(t *testing.T) {
	s := newSim(t, 10)
	battery := func() string {
		t.Helper()
		s.tick(time.Second)
		for _, r := range s.snap.References {
			if r.Kind == "rtc" {
				return r.Battery
			}
		}
		return "no hardware clock"
	}
	read := func(f rtc.Flags, known bool) {
		s.RTC(rtc.Reading{Edge: s.local, Half: time.Millisecond, Value: s.utc() / 1e9 * 1e9, Flags: f, FlagsKnown: known})
	}
	for _, tt := range []struct {
		flags rtc.Flags
		known bool
		want  string
	}{{0, false, ""}, {rtc.BackupSwitch, true, "good"}, {rtc.BackupLow, true, "low"}, {0, false, "low"},
		{rtc.BackupEmpty | rtc.BackupLow, true, "empty"}, {rtc.DataInvalid, true, "good"}} {
		read(tt.flags, tt.known)
		if got := battery(); got != tt.want {
			t.Errorf("after %v: battery %q, want %q", tt.flags, got, tt.want)
		}
	}
	n := 0
	for _, e := range s.snap.Events {
		if e.Kind == "battery" {
			n++
		}
	}
	if n != 2 {
		t.Errorf("%d events of the battery, want 2: %+v", n, s.snap.Events)
	}
}

// A pulse and a mark reach the judge and stand among the references. A pulse whose edge
// nobody told waits, and says so.
func TestPulseAndMarkReachTheJudge(t *testing.T) {
	for _, told := range []clockcheck.Edge{clockcheck.EdgeUnknown, clockcheck.EdgeAssert} {
		pulseAndMark(t, told)
	}
}

func pulseAndMark(t *testing.T, told clockcheck.Edge) {
	s := newSim(t, 10)
	s.cfg.Judge.PPSEdge = told
	s.Station = New(s.cfg, clockcheck.Learned{})
	s.Opened(Source{Device: "/dev/x", Identity: "x"}, s.local)
	s.PulseMissing("there is no pulse device")
	s.seconds(1, rmc, gga)
	if r := s.snap.References[2]; r.Kind != "pps" || r.Trust != status.Silent || r.Because != "There is no pulse device." {
		t.Errorf("%+v", r)
	}
	if s.Mark(clockcheck.Mark{At: s.local, Bound: 200 * time.Millisecond}) {
		t.Error("a minute nobody can tell was placed")
	}
	if !s.Mark(clockcheck.Mark{At: s.local, UTC: s.utc(), Bound: 200 * time.Millisecond}) {
		t.Error("a mark was not placed")
	}
	for range 30 {
		s.Pulse(s.local.Add(time.Second), clockcheck.EdgeAssert, time.Microsecond)
		s.Pulse(s.local.Add(1100*time.Millisecond), clockcheck.EdgeClear, time.Microsecond)
		s.seconds(1, rmc, gga)
	}
	kinds := map[string]string{}
	for _, r := range s.snap.References {
		kinds[r.Kind] = r.Trust
	}
	pulse, basis := status.Trusted, status.BasisPPS
	if told == clockcheck.EdgeUnknown {
		pulse, basis = status.Warming, status.BasisGNSS
	}
	if kinds["operator"] != status.Trusted || kinds["pps"] != pulse || s.snap.Clock.Basis != basis {
		t.Errorf("edge %v: %v, basis %s: %+v", told, kinds, s.snap.Clock.Basis, s.snap.References)
	}
}
