package web

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"testing"
	"time"
)

// camp is a loopback listener on which who calls from 127.0.0.2 to 127.0.0.255
// seems to call from the camp, 192.0.2.2 to 192.0.2.255 (RFC 5737).
type camp struct{ net.Listener }

func (l camp) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return campConn{c.(*net.TCPConn)}, nil
}

type campConn struct{ *net.TCPConn }

func (c campConn) RemoteAddr() net.Addr {
	a := *c.TCPConn.RemoteAddr().(*net.TCPAddr)
	if ip := a.IP.To4(); ip[3] > 1 {
		a.IP = net.IPv4(192, 0, 2, ip[3])
	}
	return &a
}

// servedToCamp serves a page to a camp with the limits of the service.
func servedToCamp(t *testing.T) (address string) {
	t.Helper()
	l, err := Listen("127.0.0.1:0", false)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- Serve(ctx, camp{l}, NewPage(1, nil)) }()
	t.Cleanup(func() { cancel(); <-done })
	return l.Addr().String()
}

// caller asks for /exchange on a connection of its own, from 127.0.0.last, and keeps
// the connection.
func caller(t *testing.T, address string, last byte) (net.Conn, *http.Response) {
	t.Helper()
	from := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, last)}}
	c, err := from.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	c.SetDeadline(time.Now().Add(30 * time.Second))
	fmt.Fprint(c, "GET /exchange HTTP/1.1\r\nHost: localhost\r\n\r\n")
	r, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		t.Fatal(err)
	}
	return c, r
}

// TestOneAddressHasItsShare: a device that holds all the connections it can get
// leaves room for others, and is told why; so does a program on the station.
func TestOneAddressHasItsShare(t *testing.T) {
	address := servedToCamp(t)
	for last, most := range map[byte]int{7: maxFromOne, 1: maxFromStation} {
		var first net.Conn
		for i := range most {
			c, r := caller(t, address, last)
			if r.StatusCode != http.StatusOK {
				t.Fatalf("127.0.0.%d: connection %d: %s", last, i+1, r.Status)
			}
			if i == 0 {
				first = c
			}
		}
		_, r := caller(t, address, last)
		text, err := io.ReadAll(r.Body)
		if err != nil || r.StatusCode != http.StatusTooManyRequests || r.Header.Get("Retry-After") == "" || !strings.Contains(string(text), "close some pages") {
			t.Errorf("127.0.0.%d: one too many: %s, %v, %q, %v", last, r.Status, r.Header, text, err)
		}
		if _, r := caller(t, address, last+1); r.StatusCode != http.StatusOK {
			t.Errorf("127.0.0.%d holds its share, and another is told %s", last, r.Status)
		}
		first.Close()
		for end := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
			c, r := caller(t, address, last)
			if r.StatusCode == http.StatusOK {
				break
			}
			c.Close()
			if time.Now().After(end) {
				t.Fatalf("127.0.0.%d: a place given back is not given again", last)
			}
		}
	}
}

// TestRefusalsHoldNothing: connections beyond the share that say nothing cost their
// address its answers, and others nothing.
func TestRefusalsHoldNothing(t *testing.T) {
	address := servedToCamp(t)
	from := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, 7)}}
	for range 2 * places {
		c, err := from.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
	}
	begin := time.Now()
	if _, r := caller(t, address, 8); r.StatusCode != http.StatusOK || time.Since(begin) > HeaderTimeout {
		t.Errorf("another is told %s after %s", r.Status, time.Since(begin))
	}
}

// someConn is a connection that only notes that it was closed.
type someConn struct {
	net.Conn
	closed bool
}

func (c *someConn) Close() error { c.closed = true; return nil }

func address(n int) netip.Addr { return netip.AddrFrom4([4]byte{192, 0, 2, byte(n)}) }

// TestPlacesForNewScreens: seven addresses take all they can get and stay silent. The
// station finds its places, each new screen gets both of its own, and what goes is the
// oldest of who holds most; who is not silent keeps its place.
func TestPlacesForNewScreens(t *testing.T) {
	f := newFair(nil)
	now := time.Unix(1e9, 0)
	var greedy []*someConn
	for a := range 7 {
		for range maxFromOne {
			c := &someConn{}
			if h, _ := f.enter(c, address(1+a), now); h != nil {
				greedy = append(greedy, c)
			}
			now = now.Add(time.Millisecond)
		}
	}
	if len(greedy) != places-keptForStation {
		t.Errorf("%d places held by others than the station, want %d", len(greedy), places-keptForStation)
	}
	for n := range keptForStation {
		if h, why := f.enter(&someConn{}, ownAddress, now); h == nil {
			t.Fatalf("the station's connection %d: %s", n+1, why)
		}
	}
	if h, _ := f.enter(&someConn{}, address(100), now); h != nil {
		t.Error("somebody lost a place who had just spoken")
	}
	now = now.Add(silentFor)
	var screens []*someConn
	for n := range 60 {
		c := &someConn{}
		h, why := f.enter(c, address(100+n/2), now)
		if h == nil {
			t.Fatalf("new screen %d: %s", n/2+1, why)
		}
		screens = append(screens, c)
		now = now.Add(time.Second)
	}
	for _, c := range screens {
		if c.closed {
			t.Error("a new screen lost its place to another while some hold 64")
		}
	}
	if !greedy[0].closed || greedy[len(greedy)-1].closed {
		t.Error("the oldest of who held most did not go first")
	}
	if f.total != places {
		t.Errorf("%d places taken, want %d", f.total, places)
	}
}

// TestLoopbackIsOne: all addresses of loopback share the station's places.
func TestLoopbackIsOne(t *testing.T) {
	at := servedPlain(t)
	for i := range maxFromStation {
		if _, r := caller(t, at, byte(1+i%200)); r.StatusCode != http.StatusOK {
			t.Fatalf("connection %d: %s", i+1, r.Status)
		}
	}
	if _, r := caller(t, at, 250); r.StatusCode != http.StatusTooManyRequests {
		t.Errorf("one too many, from another address of loopback: %s", r.Status)
	}
}

// servedPlain serves a page on loopback with the limits of the service.
func servedPlain(t *testing.T) (address string) {
	t.Helper()
	l, err := Listen("127.0.0.1:0", false)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- Serve(ctx, l, NewPage(1, nil)) }()
	t.Cleanup(func() { cancel(); <-done })
	return l.Addr().String()
}
