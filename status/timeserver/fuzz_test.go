package timeserver

import (
	"bytes"
	"encoding/binary"
	"net"
	"net/netip"
	"testing"

	"golang.org/x/net/ipv4"
	"golang.org/x/sys/unix"

	"noonmark/clockcheck/timescale"
)

// lateClock converts any stamp to the present.
type lateClock struct{}

func (lateClock) Now() timescale.Local                                { return at }
func (lateClock) Bracket() timescale.Local                            { return at }
func (lateClock) ToLocal(stamp timescale.UTC) (timescale.Local, bool) { return at - 1000, stamp != 0 }

// Whatever comes over the wire, with whatever control messages: no crash, no answer
// longer than the question, and every answer is one by RFC 5905 to a client's
// question; nothing but "not synchronised" where nothing is trusted.
func FuzzQuestion(f *testing.F) {
	v4 := make([]byte, unix.CmsgSpace(16))
	h := unix.PktInfo4(&unix.Inet4Pktinfo{Spec_dst: [4]byte{127, 0, 0, 1}, Addr: [4]byte{127, 0, 0, 1}})
	copy(v4, h)
	f.Add(ask(), []byte{}, byte(0))
	f.Add(ask(), v4, byte(1))
	f.Add(ask()[:47], unix.PktInfo6(&unix.Inet6Pktinfo{}), byte(2))
	f.Add(append([]byte{2<<3 | 7, 0, 3, 42}, make([]byte, 188)...), h, byte(3))
	f.Add(append(ask(), make([]byte, 20)...), []byte{16, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 35, 0, 0, 0}, byte(0))
	for _, v6 := range []bool{false, true} {
		d := &desk{v6: v6}
		d.open()
		if len(d.sources[0]) == 0 {
			f.Fatal("no control message to fill")
		}
	}
	desks := [4]*desk{}
	for i := range desks {
		desks[i] = &desk{Server: New(nil, Limit{}), clock: lateClock{}, limiter: newLimiter(Limit{}), v6: i&1 == 1}
		desks[i].open()
	}
	from := &net.UDPAddr{IP: net.IPv4(192, 0, 2, 7), Port: 1234}
	f.Fuzz(func(t *testing.T, q, control []byte, how byte) {
		d := desks[how&3]
		d.limiter.addresses.young = map[netip.Addr]asker{} // each is the first
		if how&4 != 0 {
			d.limiter.addresses.young[netip.MustParseAddr("192.0.2.7")] = asker{paid: at + 1<<60}
		}
		var state *State
		if how&8 == 0 {
			state = good()
			state.Leap = how >> 6
		}
		n := min(len(q), size) // the kernel cuts off what does not fit
		m := ipv4.Message{Buffers: [][]byte{q[:n]}, N: n, OOB: control, NN: len(control), Addr: from}
		if !d.take(&m, 0, state, at) {
			return
		}
		a := d.answers[0][:]
		switch {
		case len(q) < size || len(a) > len(q):
			t.Fatalf("%d octets for %d", len(a), len(q))
		case q[0]&7 != 3 || q[0]>>3&7 < 1 || q[0]>>3&7 > 4:
			t.Fatalf("an answer to version %d, mode %d", q[0]>>3&7, q[0]&7)
		case a[0]&7 != 4 || a[0]>>3&7 != q[0]>>3&7 || !bytes.Equal(a[24:32], q[40:48]):
			t.Fatalf("no answer to this question: %x", a)
		case a[1] == 0 && string(a[12:16]) != "RATE", state == nil && a[0]>>6 != 3, a[0]>>6 == 3 && a[1] > 0 && a[1] < 16:
			t.Fatalf("leap %d, stratum %d", a[0]>>6, a[1])
		case a[0]>>6 == 3 && !bytes.Equal(a[40:48], q[40:48]):
			t.Fatalf("a time where none is trusted: %x", a)
		case a[0]>>6 != 3 && binary.BigEndian.Uint64(a[40:])+1024 < binary.BigEndian.Uint64(a[32:]):
			t.Fatalf("sent before it came: %x", a)
		}
	})
}
