package share

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"syscall"

	"golang.org/x/sys/unix"
)

// datagrams sends each line in a datagram of its own.
type datagrams struct {
	conn *net.UDPConn
	raw  syscall.RawConn
	to   unix.Sockaddr
	name string
}

// openUDP binds no address, and does not connect: an answer that nobody listens
// there (ICMP) must not end the sending. The runtime allows broadcast by itself. What
// others send to the socket is dropped by the kernel, for nobody reads it.
func openUDP(addr string) (*datagrams, error) {
	a, err := netip.ParseAddrPort(addr)
	if err != nil {
		return nil, fmt.Errorf("share: %w", err)
	}
	network := "udp4"
	var to unix.Sockaddr = &unix.SockaddrInet4{Port: int(a.Port()), Addr: a.Addr().Unmap().As4()}
	if a.Addr().Is6() && !a.Addr().Is4In6() {
		s := &unix.SockaddrInet6{Port: int(a.Port()), Addr: a.Addr().As16()}
		if zone := a.Addr().Zone(); zone != "" {
			i, err := net.InterfaceByName(zone)
			if err != nil {
				return nil, fmt.Errorf("share: %s: %w", addr, err)
			}
			s.ZoneId = uint32(i.Index)
		}
		network, to = "udp6", s
	}
	c, err := net.ListenUDP(network, nil)
	if err != nil {
		return nil, fmt.Errorf("share: %w", err)
	}
	raw, err := c.SyscallConn()
	if err != nil {
		c.Close()
		return nil, fmt.Errorf("share: %w", err)
	}
	if err := deaf(raw); err != nil {
		c.Close()
		return nil, fmt.Errorf("share: %w", err)
	}
	return &datagrams{conn: c, raw: raw, to: to, name: addr}, nil
}

// deaf has the kernel drop all that comes in: a filter that keeps 0 bytes of each packet
// (Linux, Documentation/networking/filter.rst).
func deaf(raw syscall.RawConn) (err error) {
	none := []unix.SockFilter{{Code: unix.BPF_RET | unix.BPF_K, K: 0}}
	cerr := raw.Control(func(fd uintptr) {
		err = unix.SetsockoptSockFprog(int(fd), unix.SOL_SOCKET, unix.SO_ATTACH_FILTER, &unix.SockFprog{Len: uint16(len(none)), Filter: &none[0]})
	})
	return errors.Join(cerr, err)
}

// deliver sends what can be sent now. The error says why the network takes none.
func (d *datagrams) deliver(lines []byte) (lost int64, err error) {
	for len(lines) > 0 {
		n := bytes.IndexByte(lines, '\n') + 1
		if n == 0 {
			n = len(lines)
		}
		if e := d.send(lines[:n]); e != nil {
			lost++
			if !errors.Is(e, unix.EAGAIN) {
				err = fmt.Errorf("share: send to %s: %w", d.name, e)
			}
		}
		lines = lines[n:]
	}
	return lost, err
}

func (d *datagrams) send(p []byte) (err error) {
	cerr := d.raw.Write(func(fd uintptr) bool {
		err = unix.Sendto(int(fd), p, unix.MSG_DONTWAIT|unix.MSG_NOSIGNAL, d.to)
		return true
	})
	return errors.Join(cerr, err)
}

func (d *datagrams) close() {
	if d != nil {
		d.conn.Close()
	}
}
