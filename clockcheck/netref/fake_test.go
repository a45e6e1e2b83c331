package netref

import (
	"context"
	"encoding/binary"
	"io"
	"net"
	"net/netip"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// start is an instant of the local timescale like a real one, and truth − local
// is what the fake servers know.
const (
	start  = timescale.Local(812 * timescale.Second)
	offset = 1_927_944_000 * time.Second // 2031-02-03
)

func utcAt(l timescale.Local) timescale.UTC { return timescale.UTC(int64(l) + int64(offset)) }

// stamp encodes a time as RFC 5905 section 6 has it, written independently of
// the library.
func stamp(u timescale.UTC) uint64 {
	sec, ns := int64(u)/1e9, uint64(int64(u)%1e9)
	return uint64(sec+2_208_988_800)<<32 | (ns<<32+500_000_000)/1_000_000_000
}

// reply is a healthy answer of a stratum 1 server at utc, to be spoilt.
func reply(question []byte, utc timescale.UTC) []byte {
	b := make([]byte, packet)
	b[0], b[1], b[2], b[3] = 4<<3|4, 1, 6, 0xec // no leap, version 4, mode 4, stratum 1, 64 s, 2^-20 s
	binary.BigEndian.PutUint32(b[4:], 65)       // root delay 1 ms
	binary.BigEndian.PutUint32(b[8:], 131)      // root dispersion 2 ms
	copy(b[12:], "GPS\x00")
	binary.BigEndian.PutUint64(b[16:], stamp(utc.Add(-10*time.Second)))
	copy(b[24:32], question[40:48])
	binary.BigEndian.PutUint64(b[32:], stamp(utc))
	binary.BigEndian.PutUint64(b[40:], stamp(utc))
	return b
}

// udpServer answers on the loopback by f (nil = silence) and returns its
// address.
func udpServer(t testing.TB, f func(question []byte) []byte) string {
	t.Helper()
	c, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	go func() {
		buf := make([]byte, 1500)
		for {
			n, from, err := c.ReadFromUDP(buf)
			if err != nil {
				return
			}
			if n < packet {
				continue
			}
			if b := f(buf[:n]); b != nil {
				c.WriteToUDP(b, from)
			}
		}
	}()
	return c.LocalAddr().String()
}

// pipeNet is a network in memory, for virtual time: every server answers by
// answer, and counts.
type pipeNet struct {
	mu             sync.Mutex // for asked and answer
	answer         func(question []byte) []byte
	down           atomic.Bool
	dials, lookups atomic.Int64
	changed        chan struct{}
	rtt            time.Duration
	asked          func()
	noName         bool
	names          []netip.Addr // what every name leads to; nil = 192.0.2.2
	ownAddrs       []netip.Addr
}

func (n *pipeNet) host() *host {
	return &host{
		dial: func(ctx context.Context, _, _ string) (net.Conn, error) {
			n.dials.Add(1)
			if n.down.Load() {
				return nil, &net.OpError{Op: "dial", Err: syscall.ENETUNREACH}
			}
			here, there := net.Pipe()
			go n.serve(there)
			return here, nil
		},
		lookup: func(context.Context, string, string) ([]netip.Addr, error) {
			n.lookups.Add(1)
			if n.noName {
				return nil, &net.DNSError{Err: "no such host", IsNotFound: true}
			}
			if n.names != nil {
				return n.names, nil
			}
			return []netip.Addr{netip.MustParseAddr("192.0.2.2")}, nil
		},
		own:   func() []netip.Addr { return n.ownAddrs },
		watch: func(context.Context) <-chan struct{} { return n.changed },
	}
}

func (n *pipeNet) serve(c net.Conn) {
	defer c.Close()
	question := make([]byte, packet)
	if _, err := io.ReadFull(c, question); err != nil {
		return
	}
	n.mu.Lock() // never held over a Sleep: virtual time would stand still
	n.asked()
	n.mu.Unlock()
	time.Sleep(n.rtt / 2)
	n.mu.Lock()
	b := n.answer(question)
	n.mu.Unlock()
	if b == nil {
		io.Copy(io.Discard, c) // silence until the other side gives up
		return
	}
	time.Sleep(n.rtt / 2)
	c.Write(b)
}
