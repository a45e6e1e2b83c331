package netref

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"syscall"
	"time"

	"noonmark/clockcheck/timescale"

	"github.com/beevik/ntp"
)

// timeout is how long an answer is waited for. Half the round trip counts as
// error, and 1 s of error is useless, so that longer is of no use.
const timeout = 3 * time.Second

// packet is the length of an NTP header (RFC 5905 figure 8).
const packet = 48

// ask sends one question over conn, waits for the answer and closes conn.
func (p *Poller) ask(ctx context.Context, conn net.Conn, server string) (Reading, error) {
	defer conn.Close()
	// The library knows no context: a closed connection ends its wait.
	defer context.AfterFunc(ctx, func() { conn.Close() })()
	var slept time.Duration
	if p.Suspended != nil {
		slept = p.Suspended()
	}
	answer, raw, err := query(conn, p.Now)
	if kiss := raw.kiss(); kiss != "" {
		return Reading{}, kissed(kiss) // even where the library only saw an error
	}
	if err != nil {
		return Reading{}, explain(err)
	}
	if p.Suspended != nil {
		// 50 ms: the reading of it is that good on a loaded machine.
		if d := p.Suspended() - slept; d > 50*time.Millisecond || d < -50*time.Millisecond {
			return Reading{}, failf(NoAnswer, "this machine slept while it waited for the answer")
		}
	}
	r, err := accept(answer, raw, p.addressesHere(conn), p.NotBefore)
	r.Server = server
	if there := addressOf(conn.RemoteAddr()); there.IsValid() {
		r.ID, r.Port = [4]byte(binary.BigEndian.AppendUint32(nil, idOf(there.Addr()))), there.Port()
	}
	return r, err
}

// query is one exchange by the library, with both ends stamped by now. A reply
// whose poll or precision byte is 0x80 makes the library (v1.6.0) panic with a
// negative shift: that must not take the program with it.
func query(conn net.Conn, now func() timescale.Local) (answer *ntp.Response, raw *exchange, err error) {
	raw = new(exchange)
	defer func() {
		if r := recover(); r != nil {
			answer, err = nil, failf(Unfit, "its answer is malformed (%v)", r)
		}
	}()
	answer, err = ntp.QueryWithOptions("server:123", ntp.QueryOptions{
		Version:    4,
		Timeout:    timeout,
		Extensions: []ntp.Extension{raw},
		// The library only ever takes differences of these, and of these
		// with the server's; it keeps no kernel stamps when this is given.
		GetSystemTime: func() time.Time { return time.Unix(0, int64(now())) },
		Dialer:        func(_, _ string) (net.Conn, error) { return conn, nil },
	})
	return answer, raw, err
}

// exchange keeps both packets as they went over the wire, because the library
// hides some of what they say.
type exchange struct {
	asked, reply [packet]byte
	replied      bool
}

// ProcessQuery implements ntp.Extension.
func (x *exchange) ProcessQuery(buf *bytes.Buffer) error {
	copy(x.asked[:], buf.Bytes())
	return nil
}

// ProcessResponse implements ntp.Extension.
func (x *exchange) ProcessResponse(buf []byte) error {
	x.replied = copy(x.reply[:], buf) == packet
	return nil
}

// kiss returns the kiss code of the reply, "" if it is none. It counts only if
// it echoes our stamp (RFC 8633 section 5.4). The library gives a kiss without
// a transmit stamp back as another error and hides the code.
func (x *exchange) kiss() string {
	const stratum, refID, origin, transmit = 1, 12, 24, 40
	if !x.replied || x.reply[0]&7 != 4 || x.reply[stratum] != 0 ||
		!bytes.Equal(x.reply[origin:origin+8], x.asked[transmit:transmit+8]) {
		return ""
	}
	return printable(binary.BigEndian.Uint32(x.reply[refID:]))
}

// neverSet tells whether the reply's reference stamp is zero, which the
// library turns into a date in 2036.
func (x *exchange) neverSet() bool { return binary.BigEndian.Uint64(x.reply[16:]) == 0 }

// kissed gives the meaning of a kiss code (RFC 5905 figure 13, section 7.4).
func kissed(code string) error {
	switch code {
	case "DENY", "RSTR":
		return failf(Stopped, "it refuses to serve this station (%s); remove it from the list of servers", code)
	case "RATE":
		return failf(SlowDown, "it wants fewer questions (RATE)")
	}
	return failf(Unfit, "it is not ready to serve time (%s)", code)
}

// explain puts the library's and the network's errors in a person's words.
func explain(err error) error {
	var f *failure
	switch {
	case errors.As(err, &f):
		return f
	case unreachable(err) && !afterSending(err):
		return failf(NoNetwork, "there is no way to it")
	case unreachable(err):
		return failf(NoAnswer, "the network reports no way to it")
	case errors.Is(err, os.ErrDeadlineExceeded):
		return failf(NoAnswer, "it did not answer within %v", timeout)
	case errors.Is(err, syscall.EPERM):
		return failf(NoAnswer, "a rule of this machine forbids packets to it (a firewall, or IPAddressAllow= of the service)")
	case refused(err):
		return failf(NoAnswer, "no time server runs there")
	case errors.Is(err, ntp.ErrServerResponseMismatch):
		return failf(NoAnswer, "what came was no answer to this question")
	}
	return failf(Unfit, "its answer is malformed (%v)", err)
}

// afterSending tells whether err came while waiting: then a router said it, the
// question is out, and asking again soon would not be silent.
func afterSending(err error) bool {
	var op *net.OpError
	return errors.As(err, &op) && op.Op == "read"
}

// printable returns the four bytes of a reference id as text up to the first
// zero, or in hexadecimal.
func printable(id uint32) string {
	b := binary.BigEndian.AppendUint32(nil, id)
	b = bytes.TrimRight(b, "\x00")
	for _, c := range b {
		if c < 0x20 || c > 0x7e {
			return fmt.Sprintf("%08x", id)
		}
	}
	if len(b) == 0 {
		return "none"
	}
	return string(b)
}

// addressesHere lists the addresses by which this machine may be followed: this end
// of conn, and the others but for the loopback's, which every machine has.
func (p *Poller) addressesHere(conn net.Conn) []netip.Addr {
	list := []netip.Addr{addressOf(conn.LocalAddr()).Addr()}
	if p.host == nil {
		return list
	}
	for _, ip := range p.host.own() {
		if !ip.IsLoopback() {
			list = append(list, ip)
		}
	}
	return list
}

// addressOf returns an address without its zone, the zero AddrPort if unknown.
func addressOf(a net.Addr) netip.AddrPort {
	if a, ok := a.(*net.UDPAddr); ok {
		return netip.AddrPortFrom(a.AddrPort().Addr().Unmap().WithZone(""), uint16(a.Port))
	}
	return netip.AddrPort{}
}
