package web

import (
	"bytes"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"
)

// What one address may hold of the page's maxConnections. A browser holds at most
// six to a host (common practice), a screen that only looks holds two; but behind an
// access point that translates addresses a whole camp is one address, and behind a
// program on the station that passes requests on, the whole camp is loopback. Even
// loopback leaves places, and streams (the page gives 256), to others.
const (
	maxFromOne     = 64
	maxFromStation = 224
)

const (
	refusing    = 16              // are told why at once; more are closed without a word
	refuseWait  = 2 * time.Second // to ask and to hear the answer
	refuseRetry = "30"            // s: idleTimeout
)

// fair is a listener that gives no address more than its share of connections: the
// next is told so and closed. It looks at whole addresses: whoever takes new ones
// on purpose gets around it, a broken browser does not.
type fair struct {
	net.Listener
	telling chan struct{}

	mu   sync.Mutex
	held map[netip.Addr]int
}

func newFair(l net.Listener) *fair {
	return &fair{Listener: l, telling: make(chan struct{}, refusing), held: make(map[netip.Addr]int)}
}

// Accept returns the next connection that is within its address's share.
func (f *fair) Accept() (net.Conn, error) {
	for {
		c, err := f.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from, err := netip.ParseAddrPort(c.RemoteAddr().String())
		if err != nil {
			return c, nil // no internet address: none to count by
		}
		who := from.Addr().Unmap()
		if f.enter(who) {
			return &heldConn{Conn: c, leave: sync.OnceFunc(func() { f.leave(who) })}, nil
		}
		select {
		case f.telling <- struct{}{}:
			go func() {
				refuse(c)
				<-f.telling
			}()
		default:
			c.Close()
		}
	}
}

func (f *fair) enter(who netip.Addr) bool {
	most := maxFromOne
	if who.IsLoopback() {
		most = maxFromStation
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.held[who] >= most {
		return false
	}
	f.held[who]++
	return true
}

func (f *fair) leave(who netip.Addr) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.held[who]--; f.held[who] == 0 {
		delete(f.held, who)
	}
}

// heldConn gives its place back when it is closed.
type heldConn struct {
	net.Conn
	leave func()
}

func (c *heldConn) Close() error {
	defer c.leave()
	return c.Conn.Close()
}

// refuse answers whatever is asked on c, and closes it.
func refuse(c net.Conn) {
	defer c.Close()
	const text = "Too many connections come from this address: close some pages, or wait half a minute.\n"
	answer := http.Response{StatusCode: http.StatusTooManyRequests, ProtoMajor: 1, ProtoMinor: 1, Close: true,
		Header: http.Header{"Retry-After": {refuseRetry}, "Content-Type": {"text/plain; charset=utf-8"},
			"X-Content-Type-Options": {"nosniff"}, "Cache-Control": {"no-store"}},
		ContentLength: int64(len(text)), Body: io.NopCloser(strings.NewReader(text))}
	var b bytes.Buffer
	answer.Write(&b)
	c.SetDeadline(time.Now().Add(refuseWait))
	if _, err := c.Read(make([]byte, maxHeaderBytes)); err != nil {
		return
	}
	c.Write(b.Bytes())
	// A close with something unread would throw away the answer on its way.
	if half, ok := c.(interface{ CloseWrite() error }); ok && half.CloseWrite() == nil {
		io.Copy(io.Discard, io.LimitReader(c, maxHeaderBytes))
	}
}
