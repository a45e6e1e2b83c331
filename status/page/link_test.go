package page

import (
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// link is a bad way between a browser and the station: it lags, freezes, cuts, and brings
// what goes by different connections in another order. It passes bytes; what it holds
// back it passes in the end.
type link struct {
	l     net.Listener
	mu    sync.Mutex
	to    string
	state fault
	conns map[net.Conn]bool
	moved chan struct{} // closed when state has changed
	bytes atomic.Int64  // that went to the browser
}

// fault is what a link does now.
type fault struct {
	Lag    time.Duration // each way
	Jitter time.Duration // besides, drawn for each connection: what is sent first comes last
	Frozen bool          // nothing passes
	Down   bool          // no connection lives
	Rate   int           // bytes a second towards the browser, 0 = no limit
}

func newLink(t testing.TB, to string) *link {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	k := &link{l: l, to: to, conns: make(map[net.Conn]bool), moved: make(chan struct{})}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go k.carry(c)
		}
	}()
	t.Cleanup(func() { l.Close(); k.set(fault{Down: true}) })
	return k
}

func (k *link) url() string { return "http://" + k.l.Addr().String() }

func (k *link) now() (fault, string, <-chan struct{}) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.state, k.to, k.moved
}

func (k *link) set(f fault) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.state = f
	close(k.moved)
	k.moved = make(chan struct{})
	if f.Down {
		for c := range k.conns {
			c.Close()
		}
		clear(k.conns)
	}
}

// lead leads new connections to another station, and cuts the old ones.
func (k *link) lead(to string) {
	was, _, _ := k.now()
	k.mu.Lock()
	k.to = to
	k.mu.Unlock()
	k.set(fault{Down: true})
	k.set(was)
}

func (k *link) carry(near net.Conn) {
	f, to, _ := k.now()
	var extra time.Duration
	if f.Jitter > 0 {
		extra = rand.N(f.Jitter)
	}
	// The kernel has made the connection at once: its round is not played.
	if f.Down {
		near.Close()
		return
	}
	far, err := net.Dial("tcp", to)
	if err != nil {
		near.Close()
		return
	}
	k.mu.Lock()
	k.conns[near], k.conns[far] = true, true
	k.mu.Unlock()
	go k.pass(near, far, extra, false)
	k.pass(far, near, extra, true)
}

// pass carries bytes one way, each no sooner than the link lets it.
func (k *link) pass(from, to net.Conn, extra time.Duration, limited bool) {
	type piece struct {
		b  []byte
		at time.Time
	}
	queue := make(chan piece, 4096)
	go func() {
		defer close(queue)
		for {
			b := make([]byte, 2048)
			n, err := from.Read(b)
			if n > 0 {
				queue <- piece{b[:n], time.Now()}
			}
			if err != nil {
				return
			}
		}
	}()
	defer to.Close()
	defer from.Close()
	defer func() {
		go func() { // the reader may be waiting for room
			for range queue {
			}
		}()
	}()
	for p := range queue {
		for {
			f, _, moved := k.now()
			if f.Down {
				return
			}
			wait := time.Until(p.at.Add(f.Lag + extra))
			if !f.Frozen && wait <= 0 {
				if limited && f.Rate > 0 {
					time.Sleep(time.Duration(len(p.b)) * time.Second / time.Duration(f.Rate))
				}
				break
			}
			if f.Frozen {
				wait = time.Hour
			}
			select {
			case <-moved:
			case <-time.After(wait):
			}
		}
		if limited {
			k.bytes.Add(int64(len(p.b)))
		}
		if _, err := to.Write(p.b); err != nil && err != io.ErrShortWrite {
			return
		}
	}
}
