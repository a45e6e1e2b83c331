package timeserver

import (
	"encoding/binary"
	"fmt"
	"net"

	"golang.org/x/sys/unix"

	"noonmark/clockcheck/timescale"
)

// controlSize holds a stamp and the longer of the two kinds of packet information.
var controlSize = unix.CmsgSpace(16) + unix.CmsgSpace(unix.SizeofInet6Pktinfo)

// prepare has the kernel say of each packet when it arrived and to which address,
// and tells whether the socket is one of IPv6.
func prepare(conn *net.UDPConn) (v6 bool, err error) {
	raw, err := conn.SyscallConn()
	if err != nil {
		return false, fmt.Errorf("timeserver: %w", err)
	}
	var failed error
	err = raw.Control(func(fd uintptr) { v6, failed = prepareFD(int(fd)) })
	if err == nil {
		err = failed
	}
	if err != nil {
		return false, fmt.Errorf("timeserver: set up the socket: %w", err)
	}
	return v6, nil
}

func prepareFD(fd int) (v6 bool, err error) {
	// The 64-bit stamp of Linux 5.1; before it, the machine's own width.
	if unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_TIMESTAMPNS_NEW, 1) != nil {
		if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, 1); err != nil {
			return false, err
		}
	}
	domain, err := unix.GetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_DOMAIN)
	if err != nil {
		return false, err
	}
	if domain == unix.AF_INET6 {
		return true, unix.SetsockoptInt(fd, unix.IPPROTO_IPV6, unix.IPV6_RECVPKTINFO, 1)
	}
	return false, unix.SetsockoptInt(fd, unix.IPPROTO_IP, unix.IP_PKTINFO, 1)
}

// control is what the kernel said of a packet.
type control struct {
	stamped bool
	stamp   timescale.UTC // of the system clock, at arrival
	to4     [4]byte       // the address here that was asked, if known4
	known4  bool
	to6     []byte // struct in6_pktinfo as received, nil = not known
	group   bool   // sent to a group or to all, not to this machine
}

// controls reads control messages. What it does not know or cannot read it leaves.
func controls(b []byte) (c control) {
	for len(b) >= unix.CmsgLen(0) {
		h, data, rest, err := unix.ParseOneSocketControlMessage(b)
		if err != nil {
			return c
		}
		switch {
		case h.Level == unix.SOL_SOCKET && (h.Type == unix.SO_TIMESTAMPNS_NEW || h.Type == unix.SO_TIMESTAMPNS):
			c.stamp, c.stamped = timespec(data)
		case h.Level == unix.IPPROTO_IP && h.Type == unix.IP_PKTINFO && len(data) >= unix.SizeofInet4Pktinfo:
			// ipi_spec_dst is this machine's address, ipi_addr the packet's (ip(7)):
			// they differ for a broadcast or multicast. The first is missing where
			// the packet came before prepare asked for it.
			here, sent := [4]byte(data[4:8]), [4]byte(data[8:12])
			if here == [4]byte{} {
				here = sent
			}
			c.to4, c.known4 = here, true
			c.group = here != sent || net.IP(sent[:]).IsMulticast()
		case h.Level == unix.IPPROTO_IPV6 && h.Type == unix.IPV6_PKTINFO && len(data) >= unix.SizeofInet6Pktinfo:
			c.to6 = data[:unix.SizeofInet6Pktinfo]
			ip := net.IP(data[:16])
			c.group = ip.IsMulticast() || ip.Equal(net.IPv4bcast)
		}
		b = rest
	}
	return c
}

// timespec reads a struct timespec of either width.
func timespec(b []byte) (timescale.UTC, bool) {
	switch len(b) {
	case 16:
		return timescale.UTC(int64(binary.NativeEndian.Uint64(b))*timescale.Second + int64(binary.NativeEndian.Uint64(b[8:]))), true
	case 8:
		return timescale.UTC(int64(int32(binary.NativeEndian.Uint32(b)))*timescale.Second + int64(binary.NativeEndian.Uint32(b[4:]))), true
	}
	return 0, false
}

// sourceMessage makes an empty control message that names an address to send from.
func sourceMessage(v6 bool) []byte {
	if v6 {
		return unix.PktInfo6(&unix.Inet6Pktinfo{})
	}
	return unix.PktInfo4(&unix.Inet4Pktinfo{})
}

// source fills msg, made by sourceMessage, so that the answer comes from the address
// that was asked; a connected client takes no other. nil = let the kernel choose.
func (c *control) source(msg []byte) []byte {
	data := msg[unix.CmsgLen(0):]
	v6 := len(data) >= unix.SizeofInet6Pktinfo
	switch {
	case v6 && c.to6 != nil: // struct in6_pktinfo: address, interface
		copy(data, c.to6)
		if !net.IP(c.to6[:16]).IsLinkLocalUnicast() {
			clear(data[16:unix.SizeofInet6Pktinfo]) // the way back may be another
		}
	case !v6 && c.known4: // struct in_pktinfo: interface, address here, address of the packet
		copy(data[4:8], c.to4[:])
	default:
		return nil
	}
	return msg
}
