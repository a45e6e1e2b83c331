package station

import (
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
)

// overRelay lets d pass; the sentences come over a network, late.
func (s *sim) overRelay(d, late time.Duration) {
	for range int(d.Seconds()) {
		s.local = s.local.Add(time.Second)
		said := s.utc().Add(100*time.Millisecond - late).Time().Truncate(time.Second)
		var b strings.Builder
		for _, l := range []string{rmc, gga} {
			l = strings.ReplaceAll(l, "TIME", said.Format("150405"))
			b.WriteString(sum(strings.ReplaceAll(l, "DATE", said.Format("020106"))))
		}
		s.Bytes([]byte(b.String()), Read{At: s.local.Add(100*time.Millisecond + late%time.Second)})
		s.tick(900 * time.Millisecond)
	}
}

// TestRelayProvesNothing: a receiver over a network was compared with a server at home,
// where the network was quick. In camp its bytes come 6 s late: measured behind a
// multiplexer (reading.go). What was learned at home must not make a yes of that.
func TestRelayProvesNothing(t *testing.T) {
	relay := Source{Device: "tcp://192.0.2.9:2000", Identity: "tcp://192.0.2.9:2000", Relay: true}
	home := newSim(t, 10)
	home.Opened(relay, home.local)
	for range 30 {
		home.overRelay(time.Minute, 200*time.Millisecond)
		home.Network(netref.Reading{Server: "192.0.2.1", At: home.local, UTC: home.utc(), Bound: 20 * time.Millisecond})
	}
	if home.snap.Modes[0].Verdict != string(clockcheck.Within) {
		t.Errorf("at home beside a server: %+v", home.snap.Clock)
	}

	camp := newSim(t, 10)
	camp.Station = New(camp.cfg, home.Learned())
	camp.Opened(relay, camp.local)
	for late := range []time.Duration{0, 1, 2, 3} { // it backs up further on the way
		camp.overRelay(20*time.Minute, 6*time.Second+time.Duration(late)*400*time.Millisecond)
		c := camp.snap.Clock
		if v := camp.snap.Modes[0].Verdict; v == string(clockcheck.Within) || c.ErrorS.OK && c.GuardS.OK && c.ErrorS.V-c.GuardS.V > 0 {
			t.Fatalf("the clock is right, the relay 6 s late: %s, %v ± %v s", v, c.ErrorS.V, c.GuardS.V)
		}
	}
}

// TestRelayBesideAServer: where somebody else told the time, a relay that backs up does
// not take it along.
func TestRelayBesideAServer(t *testing.T) {
	s := newSim(t, 10)
	s.Opened(Source{Device: "udp://:2000", Identity: "udp://:2000", Relay: true}, s.local)
	for range 20 {
		s.overRelay(time.Minute, 200*time.Millisecond)
		s.Network(netref.Reading{Server: "192.0.2.1", At: s.local, UTC: s.utc(), Bound: 20 * time.Millisecond})
	}
	for late := 200 * time.Millisecond; late < 9*time.Second; late += 37 * time.Millisecond {
		s.overRelay(10*time.Second, late)
		c := s.snap.Clock
		if e := c.ErrorS.V; e > c.GuardS.V || -e > c.GuardS.V {
			t.Fatalf("relay %v late: %v ± %v s", late, e, c.GuardS.V)
		}
	}
	if s.snap.Modes[0].Verdict != string(clockcheck.Within) {
		t.Errorf("half an hour after a server spoke: %+v", s.snap.Clock)
	}
}
