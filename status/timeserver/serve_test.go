package timeserver

import (
	"bytes"
	"context"
	"net"
	"net/netip"
	"syscall"
	"testing"
	"time"

	"github.com/beevik/ntp"
	"golang.org/x/sys/unix"

	"noonmark/clockcheck/timescale"
)

// sameClock is a machine whose local timescale is its system clock.
type sameClock struct{ stepped bool }

func (c sameClock) Now() timescale.Local     { return timescale.Local(time.Now().UnixNano()) }
func (c sameClock) Bracket() timescale.Local { return c.Now() }
func (c sameClock) ToLocal(stamp timescale.UTC) (timescale.Local, bool) {
	return timescale.Local(stamp), !c.stepped
}

// systemState serves the system clock plus offset.
func systemState(offset time.Duration) func() *State {
	return func() *State {
		s := good()
		s.At = sameClock{}.Now()
		s.UTC = timescale.UTC(s.At).Add(offset)
		s.Reference = s.UTC
		return s
	}
}

// running starts a server on the loopback and returns its address.
func running(t testing.TB, s *Server, network, address string, clock Clock) string {
	t.Helper()
	c, err := net.ListenPacket(network, address)
	if err != nil {
		t.Skipf("this machine has no %s loopback: %v", network, err)
	}
	return serving(t, s, c, clock)
}

func serving(t testing.TB, s *Server, c net.PacketConn, clock Clock) string {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, c.(*net.UDPConn), clock) }()
	t.Cleanup(func() {
		stop()
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(5 * time.Second):
			t.Error("Serve did not end with its context")
		}
	})
	return c.LocalAddr().String()
}

// With an independent client: beevik/ntp.
func TestServeAClient(t *testing.T) {
	for _, tt := range []struct {
		name, network, address string
		version                int
	}{
		{"IPv4", "udp4", "127.0.0.1:0", 4},
		{"IPv4, version 3", "udp4", "127.0.0.1:0", 3},
		{"IPv6", "udp6", "[::1]:0", 4},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := New(systemState(90*time.Second), Limit{})
			addr := running(t, s, tt.network, tt.address, sameClock{})
			r, err := ntp.QueryWithOptions(addr, ntp.QueryOptions{Version: tt.version})
			if err != nil {
				t.Fatal(err)
			}
			if err := r.Validate(); err != nil {
				t.Error(err)
			}
			if d := r.ClockOffset - 90*time.Second; d.Abs() > 20*time.Millisecond+r.RTT/2 {
				t.Errorf("offset %v", r.ClockOffset)
			}
			if r.Stratum != 1 || r.ReferenceString() != ".GPS." || r.Leap != ntp.LeapNoWarning || r.RootDelay != 0 ||
				r.RootDispersion < 50*time.Millisecond || r.RootDispersion > 51*time.Millisecond {
				t.Errorf("%+v", r)
			}
			if c := s.Counts(); c != (Counts{Answered: 1}) || !s.Served(netip.MustParseAddrPort(addr).Addr()) {
				t.Errorf("%+v", c)
			}
		})
	}
}

func TestServeNothingTrusted(t *testing.T) {
	addr := running(t, New(func() *State { return nil }, Limit{}), "udp4", "127.0.0.1:0", sameClock{})
	r, err := ntp.Query(addr)
	if err != nil {
		t.Fatal(err)
	}
	if r.Leap != ntp.LeapNotInSync || r.Stratum != 16 || r.Validate() == nil {
		t.Errorf("%+v", r)
	}
}

func TestRateKissIsUnderstood(t *testing.T) {
	addr := running(t, New(systemState(0), Limit{Every: time.Minute, Burst: 2}), "udp4", "127.0.0.1:0", sameClock{})
	for i, want := range []string{"", "", "RATE"} {
		r, err := ntp.Query(addr)
		if err != nil {
			t.Fatal(err)
		}
		if r.KissCode != want {
			t.Errorf("question %d: kiss %q", i, r.KissCode)
		}
	}
	if _, err := ntp.QueryWithOptions(addr, ntp.QueryOptions{Timeout: 200 * time.Millisecond}); err == nil {
		t.Error("a fourth question is answered")
	}
}

// exchange sends p and returns what comes back within a while, nil if nothing.
func exchange(t *testing.T, addr string, p []byte, wait time.Duration) []byte {
	t.Helper()
	c, err := net.Dial("udp", addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.Write(p); err != nil {
		t.Fatal(err)
	}
	c.SetReadDeadline(time.Now().Add(wait))
	b := make([]byte, 2000)
	n, err := c.Read(b)
	if err != nil {
		return nil
	}
	return b[:n]
}

// What is no client's question gets no answer, however long; a question with
// authentication or extensions gets the bare 48 octets.
func TestNeverMoreThanAsked(t *testing.T) {
	s := New(systemState(0), Limit{Every: time.Millisecond, Burst: 1000})
	addr := running(t, s, "udp4", "127.0.0.1:0", sameClock{})
	for _, n := range []int{48, 52, 68, 76, 1400} {
		q := append(ask(), make([]byte, n-48)...)
		if a := exchange(t, addr, q, 5*time.Second); len(a) != 48 || !bytes.Equal(a[24:32], q[40:48]) {
			t.Errorf("%d octets asked, %d answered", n, len(a))
		}
	}
	for _, p := range [][]byte{ask()[:47], {4<<3 | 3}, append([]byte{2<<3 | 7, 0, 3, 42}, make([]byte, 188)...), {2<<3 | 6, 2, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0}} {
		if a := exchange(t, addr, p, 50*time.Millisecond); a != nil {
			t.Errorf("%x is answered with %x", p, a)
		}
	}
	if c := s.Counts(); c.Answered != 5 || c.Ignored != 4 {
		t.Errorf("%+v", c)
	}
}

// A stamp that straddles a step is no evidence of when the question came.
func TestStepDropsTheQuestion(t *testing.T) {
	s := New(systemState(0), Limit{})
	addr := running(t, s, "udp4", "127.0.0.1:0", sameClock{stepped: true})
	if a := exchange(t, addr, ask(), 50*time.Millisecond); a != nil {
		t.Errorf("answered %x", a)
	}
	if c := s.Counts(); c.Dropped != 1 {
		t.Errorf("%+v", c)
	}
}

// A client of a socket for all addresses takes an answer only from the one it asked.
// (The socket is tied to the loopback all the same.)
func TestAnswersFromTheAddressAsked(t *testing.T) {
	tied := net.ListenConfig{Control: func(_, _ string, c syscall.RawConn) (err error) {
		c.Control(func(fd uintptr) { err = unix.BindToDevice(int(fd), "lo") })
		return err
	}}
	for network, address := range map[string]string{"udp4": "0.0.0.0:0", "udp": "[::]:0"} { // "udp": IPv6 with IPv4 in it
		c, err := tied.ListenPacket(t.Context(), network, address)
		if err != nil {
			t.Skipf("no socket tied to the loopback: %v", err)
		}
		addr := serving(t, New(systemState(0), Limit{}), c, sameClock{})
		_, port, _ := net.SplitHostPort(addr)
		for _, host := range []string{"127.0.0.1", "127.3.2.1", "::1"} {
			if network == "udp4" && host == "::1" {
				continue
			}
			if a := exchange(t, net.JoinHostPort(host, port), ask(), 5*time.Second); len(a) != 48 {
				t.Errorf("%s by %s: no answer", host, network)
			}
		}
	}
}
