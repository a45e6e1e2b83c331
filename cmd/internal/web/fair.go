package web

import (
	"bytes"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// The page's places. A browser holds at most six to a host (common practice), a screen
// that only looks holds two; but behind an access point that translates addresses a
// whole camp is one address, and behind a program on the station that passes requests
// on, the whole camp is loopback.
const (
	places         = 400 // connections in all
	maxFromOne     = 64  // one address
	maxFromStation = 224 // loopback, all its addresses together
	keptForStation = 32  // nobody else gets the last ones
	// A connection on which nothing came for so long may lose its place to a newcomer. A
	// screen says nothing after it asked for its stream: it asks for another, and is new.
	silentFor = 10 * time.Second
)

const (
	refusing    = 16              // are told why at once; more are closed without a word
	refuseWait  = 2 * time.Second // to ask and to hear the answer
	refuseRetry = "30"            // s: idleTimeout
)

// fair is a listener that gives no address more than its share of connections: the
// next is told so and closed. When all places are taken, who comes newly gets that of
// the connection that was silent longest, of the address that holds most; so a few
// addresses cannot hold all places, and a new screen finds one. It looks at whole
// addresses: whoever takes hundreds on purpose gets around it, until they are silent.
type fair struct {
	net.Listener
	telling chan struct{}

	mu    sync.Mutex
	held  map[netip.Addr]map[*heldConn]bool
	total int
}

func newFair(l net.Listener) *fair {
	return &fair{Listener: l, telling: make(chan struct{}, refusing), held: make(map[netip.Addr]map[*heldConn]bool)}
}

// ownAddress stands for all addresses of loopback.
var ownAddress = netip.AddrFrom4([4]byte{127, 0, 0, 1})

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
		who := from.Addr().Unmap().WithZone("")
		if who.IsLoopback() {
			who = ownAddress
		}
		held, why := f.enter(c, who, time.Now())
		if held != nil {
			return held, nil
		}
		select {
		case f.telling <- struct{}{}:
			go func() {
				refuse(c, why)
				<-f.telling
			}()
		default:
			c.Close()
		}
	}
}

const (
	tooManyOfYours = "Too many connections come from this address: close some pages, or wait half a minute."
	allTaken       = "All places of this page are taken by others: wait half a minute."
)

// enter gives c a place, or says why there is none.
func (f *fair) enter(c net.Conn, who netip.Addr, now time.Time) (h *heldConn, why string) {
	most := maxFromOne
	if who == ownAddress {
		most = maxFromStation
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.held[who]) >= most {
		return nil, tooManyOfYours
	}
	full := f.total >= places || who != ownAddress && f.total-len(f.held[ownAddress]) >= places-keptForStation
	if full && !f.makeRoom(who, now) {
		return nil, allTaken
	}
	h = &heldConn{Conn: c, of: f, who: who}
	h.heard.Store(now.UnixNano())
	if f.held[who] == nil {
		f.held[who] = make(map[*heldConn]bool)
	}
	f.held[who][h] = true
	f.total++
	return h, ""
}

// makeRoom closes the connection that was silent longest of those addresses that hold
// most, if that is more than who does; the station keeps its places.
func (f *fair) makeRoom(who netip.Addr, now time.Time) bool {
	most := len(f.held[who]) + 1
	var oldest *heldConn
	for a, conns := range f.held {
		n := len(conns)
		if a == who || n < most || a == ownAddress && n <= keptForStation {
			continue
		}
		for h := range conns {
			at := h.heard.Load()
			if now.UnixNano()-at < int64(silentFor) || n == most && oldest != nil && at >= oldest.heard.Load() {
				continue
			}
			oldest, most = h, n
		}
	}
	if oldest == nil {
		return false
	}
	f.drop(oldest)
	oldest.Conn.Close()
	return true
}

// drop frees a place once.
func (f *fair) drop(h *heldConn) {
	conns := f.held[h.who]
	if !conns[h] {
		return
	}
	delete(conns, h)
	f.total--
	if len(conns) == 0 {
		delete(f.held, h.who)
	}
}

// heldConn gives its place back when it is closed.
type heldConn struct {
	net.Conn
	of    *fair
	who   netip.Addr
	heard atomic.Int64 // when something last came on it, ns
}

func (c *heldConn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	if n > 0 {
		c.heard.Store(time.Now().UnixNano())
	}
	return n, err
}

func (c *heldConn) Close() error {
	c.of.mu.Lock()
	c.of.drop(c)
	c.of.mu.Unlock()
	return c.Conn.Close()
}

// refuse answers whatever is asked on c with why, and closes it.
func refuse(c net.Conn, why string) {
	defer c.Close()
	text := why + "\n"
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
