package netref

import (
	"context"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"noonmark/clockcheck/timescale"
)

var lan = []netip.Addr{netip.MustParseAddr("127.0.0.1"), netip.MustParseAddr("192.0.2.55")}

// virtual is a run of a Poller in virtual time.
type virtual struct {
	net      *pipeNet
	poller   *Poller
	readings []Reading
	problems []Problem
	asked    []time.Duration // when questions arrived, since the start
}

// newVirtual must be called inside a synctest bubble.
func newVirtual(servers ...string) *virtual {
	t0 := time.Now()
	now := func() timescale.Local { return start.Add(time.Since(t0)) }
	v := &virtual{net: &pipeNet{rtt: 40 * time.Millisecond, ownAddrs: lan, changed: make(chan struct{}, 1)}}
	v.net.answer = func(q []byte) []byte { return reply(q, utcAt(now())) }
	v.net.asked = func() { v.asked = append(v.asked, time.Since(t0).Round(time.Second)) }
	v.poller = &Poller{Servers: servers, Now: now, NotBefore: built, host: v.net.host()}
	return v
}

func (v *virtual) run(t *testing.T, d time.Duration) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), d)
	defer cancel()
	err := v.poller.Run(ctx, func(r Reading) { v.readings = append(v.readings, r) },
		func(p Problem) { v.problems = append(v.problems, p) })
	if err != nil {
		t.Error(err)
	}
	synctest.Wait() // for the servers' ends
}

func (v *virtual) kinds() string {
	var s []string
	for _, p := range v.problems {
		s = append(s, fmt.Sprintf("%s: %s (%v)", p.Server, p.Kind, p.Again.Round(time.Second)))
	}
	return strings.Join(s, "\n")
}

func TestNoClock(t *testing.T) {
	if err := (&Poller{}).Run(t.Context(), nil, nil); err == nil {
		t.Error("ran without a clock")
	}
}

func TestADayOfQuestions(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := newVirtual("192.0.2.1", "ntp.example")
		v.run(t, 24*time.Hour)
		// By hand: 4 quick and 8 at each of 64, 128, 256, 512 s make 2.1 h;
		// then one each 1024 s to 1088 s for 21.9 h, two servers.
		if n := len(v.readings); n < 2*(4+32+70) || n > 2*(4+32+78) || len(v.problems) != 0 {
			t.Errorf("%d readings in a day, %v", n, v.problems)
		}
		for _, r := range v.readings {
			if e := r.UTC.Sub(utcAt(r.At)); e > time.Microsecond || e < -time.Microsecond || r.Delay != 40*time.Millisecond {
				t.Fatalf("error %v, delay %v", e, r.Delay)
			}
		}
		if v.net.lookups.Load() != 1 {
			t.Errorf("the name was looked up %d times", v.net.lookups.Load())
		}
	})
}

func TestNothingIsSentWithoutANetwork(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := newVirtual("192.0.2.1", "ntp.example")
		v.net.down.Store(true)
		v.net.ownAddrs = lan[:1]
		v.run(t, time.Hour)
		if len(v.asked) != 0 || v.net.lookups.Load() != 0 || len(v.readings) != 0 {
			t.Errorf("%d questions, %d look-ups", len(v.asked), v.net.lookups.Load())
		}
		want := "192.0.2.1: no network (30s)\nntp.example: no network (30s)"
		if got := v.kinds(); got != want { // told once, not each half minute
			t.Errorf("got %s", got)
		}
	})
}

func TestNetworkComesAndGoes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := newVirtual("192.0.2.1")
		v.net.down.Store(true)
		at := func(d time.Duration, down, tell bool) {
			time.AfterFunc(d, func() {
				v.net.down.Store(down)
				if tell {
					v.net.changed <- struct{}{}
				}
			})
		}
		at(100*time.Second, false, true)   // comes, and the kernel tells
		at(200*time.Second, true, true)    // goes
		at(1000*time.Second, false, false) // comes, and nobody tells
		v.run(t, 1100*time.Second)
		if len(v.asked) < 5 || v.asked[0] != 102*time.Second {
			t.Fatalf("asked at %v", v.asked)
		}
		i := slices.IndexFunc(v.asked, func(d time.Duration) bool { return d > 200*time.Second })
		if i < 0 || v.asked[i] < 1000*time.Second || v.asked[i] > 1030*time.Second {
			t.Errorf("asked at %v", v.asked)
		}
		if got := strings.Count(v.kinds(), "no network"); got != 2 {
			t.Errorf("told %d times:\n%s", got, v.kinds())
		}
	})
}

func TestRefusalIsObeyed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := newVirtual("192.0.2.1")
		v.net.answer = func(q []byte) []byte {
			b := reply(q, 0)
			b[1] = 0
			copy(b[12:], "DENY")
			clear(b[40:])
			return b
		}
		time.AfterFunc(time.Hour, func() { v.net.changed <- struct{}{} })
		v.run(t, 48*time.Hour)
		if len(v.asked) != 1 || v.kinds() != "192.0.2.1: stopped (0s)" {
			t.Errorf("asked at %v:\n%s", v.asked, v.kinds())
		}
	})
}

func TestSilenceIsAskedLessAndLess(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := newVirtual("192.0.2.1", "ntp.example:1234")
		v.net.answer = func([]byte) []byte { return nil }
		v.run(t, 12*time.Hour)
		// 64 s doubling to 8192 s: 8 in 2.3 h, then 4 in the rest, each server.
		if n := len(v.asked); n < 2*10 || n > 2*13 {
			t.Errorf("%d questions: %v", n, v.asked)
		}
		for _, p := range v.problems {
			if p.Kind != NoAnswer || p.Again < steady || !strings.Contains(p.Reason, "3s") {
				t.Errorf("%+v", p)
			}
		}
		// A name is looked up again when its address falls silent.
		if got := v.net.lookups.Load(); got < 10 {
			t.Errorf("%d look-ups", got)
		}
	})
}

func TestMalformedAnswersDoNotEndTheRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := newVirtual("192.0.2.1")
		n := 0
		good := v.net.answer
		v.net.answer = func(q []byte) []byte {
			b := good(q)
			if n++; n < 3 {
				b[2], b[3] = 0x80, 0x80
			}
			return b
		}
		v.run(t, 10*time.Minute)
		if len(v.readings) == 0 || strings.Count(v.kinds(), "unfit") != 2 {
			t.Errorf("%d readings\n%s", len(v.readings), v.kinds())
		}
	})
}

func TestServersThatAreNone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := newVirtual("", "a b", "x:0", "192.0.2.1", "192.0.2.1:123", "127.0.0.1", "[::1]", "192.0.2.55:123")
		v.run(t, time.Minute)
		for _, name := range []string{"", "a b", "x:0", "192.0.2.1:123", "127.0.0.1", "[::1]", "192.0.2.55:123"} {
			if !strings.Contains("\n"+v.kinds(), "\n"+name+": stopped (0s)") {
				t.Errorf("%q was not refused:\n%s", name, v.kinds())
			}
		}
	})
}

// Two names for one machine are one server: it is asked at one server's rate. Of a name
// for several machines, the one that is not asked yet is taken.
func TestTwoNamesOfOneMachine(t *testing.T) {
	one, other := netip.MustParseAddr("192.0.2.1"), netip.MustParseAddr("192.0.2.9")
	for _, tt := range []struct {
		names []netip.Addr
		want  string
		asked int // in 10 s
	}{
		{[]netip.Addr{one}, "ntp.example: unfit (1m", 1},
		{[]netip.Addr{one, other}, "", 2},
	} {
		synctest.Test(t, func(t *testing.T) {
			v := newVirtual("192.0.2.1", "ntp.example")
			v.net.names = tt.names
			v.run(t, 10*time.Second)
			if !strings.HasPrefix(v.kinds(), tt.want) || (tt.want == "") != (v.kinds() == "") || len(v.asked) != tt.asked {
				t.Errorf("%v: %d questions, %q", tt.names, len(v.asked), v.kinds())
			}
		})
	}
}

// RFC 9109: a port that an outsider cannot guess, a new one for each question. The
// kernel draws it when the socket is connected; here 8 questions must not share one.
func TestEachQuestionFromAPortOfItsOwn(t *testing.T) {
	ports := map[string]bool{}
	server := udpServer(t, func(q []byte) []byte { return reply(q, utcAt(start)) })
	a, err := parseAddress(server)
	if err != nil {
		t.Fatal(err)
	}
	h := thisHost()
	for range 8 {
		c, err := h.connect(t.Context(), &a, takenBut(nil, nil))
		if err != nil {
			t.Fatal(err)
		}
		ports[c.LocalAddr().String()] = true
		if _, err := (&Poller{Now: tick(time.Millisecond)}).ask(t.Context(), c, "x"); err != nil && !strings.Contains(err.Error(), "contradict") {
			t.Error(err)
		}
	}
	if len(ports) < 7 {
		t.Errorf("8 questions from %d ports", len(ports))
	}
}

// A server that follows this station by any of its addresses is no witness for it.
func TestAFollowerIsNoWitness(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := newVirtual("192.0.2.1")
		good := v.net.answer
		v.net.answer = func(q []byte) []byte {
			b := good(q)
			b[1] = 2
			copy(b[12:], lan[1].AsSlice())
			return b
		}
		v.run(t, 5*time.Minute)
		if len(v.readings) != 0 || len(v.problems) == 0 || !strings.Contains(v.problems[0].Reason, "takes its time from this station") {
			t.Errorf("%d readings, %v", len(v.readings), v.problems)
		}
	})
}

func TestAName(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v := newVirtual("ntp.example")
		v.net.noName = true
		v.run(t, time.Hour)
		if len(v.asked) != 0 || len(v.problems) == 0 || v.problems[0].Kind != NoName || v.net.lookups.Load() > 7 {
			t.Errorf("%d look-ups:\n%s", v.net.lookups.Load(), v.kinds())
		}
	})
}

func TestParseAddress(t *testing.T) {
	tests := []struct {
		in, host string
		port     uint16
		literal  string
	}{
		{"", "", 0, ""}, {" ", "", 0, ""}, {":123", "", 0, ""}, {"a:b", "", 0, ""}, {"a:65536", "", 0, ""}, {"a:0", "", 0, ""},
		{"a:-1", "", 0, ""}, {"[::1", "", 0, ""}, {"::1]:5x", "", 0, ""}, {"ntp://a", "", 0, ""}, {"a/b", "", 0, ""}, {"1.2.3.4:5:6", "", 0, ""},
		{"ntp.example", "ntp.example", 123, ""}, {"ntp.example:1123", "ntp.example", 1123, ""},
		{"192.0.2.1", "192.0.2.1", 123, "192.0.2.1"}, {"192.0.2.1:1", "192.0.2.1", 1, "192.0.2.1"},
		{"2001:db8::1", "2001:db8::1", 123, "2001:db8::1"}, {"[2001:db8::1]", "2001:db8::1", 123, "2001:db8::1"},
		{"[2001:db8::1]:1123", "2001:db8::1", 1123, "2001:db8::1"}, {"fe80::1%eth0", "fe80::1%eth0", 123, "fe80::1%eth0"},
		{"::ffff:192.0.2.1", "::ffff:192.0.2.1", 123, "192.0.2.1"},
	}
	for _, tt := range tests {
		a, err := parseAddress(tt.in)
		if tt.port == 0 {
			if err == nil {
				t.Errorf("%q is accepted: %+v", tt.in, a)
			}
			continue
		}
		literal := ""
		if a.found.IsValid() {
			literal = a.found.String()
		}
		if err != nil || a.host != tt.host || a.port != tt.port || literal != tt.literal {
			t.Errorf("%q: %+v, %v", tt.in, a, err)
		}
	}
}

func FuzzParseAddress(f *testing.F) {
	for _, s := range []string{"ntp.example:123", "[::1]:5", "fe80::1%eth0", "::", "a:b:c", "[]", "["} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := parseAddress(s)
		if err == nil && (a.host == "" || a.port == 0) {
			t.Errorf("%q: %+v", s, a)
		}
	})
}

// This package must take no time from the system clock but through the clock
// it is given. (The whole module is held to it; this is the reason here.)
func TestTheStampsAreTheCallersOwn(t *testing.T) {
	server := udpServer(t, func(q []byte) []byte {
		time.Sleep(20 * time.Millisecond) // real time, which must not show
		return reply(q, utcAt(start.Add(2*time.Millisecond)))
	})
	r, err := askOnce(t, &Poller{Now: tick(4 * time.Millisecond)}, server)
	if err != nil || r.Delay != 4*time.Millisecond || r.At != start.Add(2*time.Millisecond) {
		t.Errorf("%+v, %v", r, err)
	}
}
