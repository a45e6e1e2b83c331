package netref

import (
	"context"
	"errors"
	"net"
	"net/netip"
	"strconv"
	"strings"
	"syscall"
)

// address is a configured server taken apart, and the address its name led to.
type address struct {
	host  string
	port  uint16
	found netip.Addr // kept while it answers
}

// forget makes the name be looked up again, unless it is an address itself.
func (a *address) forget() {
	if _, err := netip.ParseAddr(a.host); err != nil {
		a.found = netip.Addr{}
	}
}

// parseAddress accepts host, host:port, an IPv4 or IPv6 address, and
// [IPv6]:port, each with a zone if need be.
func parseAddress(server string) (address, error) {
	a := address{host: server, port: 123}
	bare := server
	if strings.HasPrefix(server, "[") && strings.HasSuffix(server, "]") {
		bare = server[1 : len(server)-1]
	}
	if ip, err := netip.ParseAddr(bare); err == nil {
		a.host, a.found = bare, ip.Unmap()
		return a, nil
	}
	if strings.Contains(server, ":") {
		host, port, err := net.SplitHostPort(server)
		if err != nil {
			return a, failf(Stopped, "%q is not a server: write NAME, NAME:PORT or [IPv6]:PORT", server)
		}
		n, err := strconv.ParseUint(port, 10, 16)
		if err != nil || n == 0 {
			return a, failf(Stopped, "%q is not a server: the port must be a number from 1 to 65535", server)
		}
		a.host, a.port = host, uint16(n)
		if ip, err := netip.ParseAddr(host); err == nil {
			a.found = ip.Unmap()
			return a, nil
		}
	}
	if a.host == "" || strings.ContainsAny(a.host, " \t[]/%:") {
		return a, failf(Stopped, "%q is not a server: write NAME, NAME:PORT or [IPv6]:PORT", server)
	}
	return a, nil
}

// host is what this package needs of the machine's network.
type host struct {
	// dial opens a connected UDP socket, which sends nothing.
	dial func(ctx context.Context, network, address string) (net.Conn, error)
	// lookup turns a name into addresses; it may send packets.
	lookup func(ctx context.Context, network, name string) ([]netip.Addr, error)
	// own lists the addresses of this machine.
	own func() []netip.Addr
	// watch tells of changes of the network until ctx ends; nil if it cannot.
	watch func(ctx context.Context) <-chan struct{}
}

func thisHost() *host {
	return &host{
		dial:   new(net.Dialer).DialContext,
		lookup: (&net.Resolver{PreferGo: true}).LookupNetIP,
		own:    ownAddresses,
		watch:  watchNetwork,
	}
}

// connect opens a socket towards the server. Nothing is sent to it; without a
// network, nothing at all. taken says whose an address is already, "" = nobody's: of a
// name that leads to several machines, one that is not asked yet is taken.
func (h *host) connect(ctx context.Context, a *address, taken func(netip.AddrPort) string) (net.Conn, error) {
	candidates := []netip.Addr{a.found}
	if !a.found.IsValid() {
		var err error
		if candidates, err = h.resolve(ctx, a.host); err != nil {
			return nil, err
		}
	}
	err := failf(NoNetwork, "there is no network")
	for _, ip := range candidates {
		ip = ip.Unmap()
		if a.port == 123 && h.isOwn(ip) {
			err = failf(Stopped, "it is this machine itself, which cannot confirm its own clock")
			continue
		}
		if other := taken(netip.AddrPortFrom(ip, a.port)); other != "" {
			err = failf(Unfit, "it is the same machine as %s, which does not make two witnesses of it", other)
			continue
		}
		conn, dialErr := h.dial(ctx, "udp", netip.AddrPortFrom(ip, a.port).String())
		if dialErr == nil {
			a.found = ip
			return conn, nil
		}
		if !unreachable(dialErr) {
			err = failf(NoAnswer, "no socket to it: %v", dialErr)
		}
	}
	return nil, err
}

// resolve looks a name up, in bounded time, and not without a network: an
// interface other than the loopback that has an address.
func (h *host) resolve(ctx context.Context, name string) ([]netip.Addr, error) {
	networked := name == "localhost"
	for _, ip := range h.own() {
		networked = networked || !ip.IsLoopback()
	}
	if !networked {
		return nil, failf(NoNetwork, "there is no network")
	}
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	ips, err := h.lookup(ctx, "ip", name)
	if unreachable(err) {
		return nil, failf(NoNetwork, "there is no way to a name server")
	}
	if err != nil || len(ips) == 0 {
		return nil, failf(NoName, "its name cannot be looked up; if it is spelled right, there may be no way to a name server")
	}
	return ips, nil
}

func (h *host) isOwn(ip netip.Addr) bool {
	if ip.IsLoopback() {
		return true
	}
	for _, o := range h.own() {
		if o == ip.WithZone("") {
			return true
		}
	}
	return false
}

// ownAddresses lists the addresses of the interfaces that are up.
func ownAddresses() []netip.Addr {
	var list []netip.Addr
	addrs, _ := net.InterfaceAddrs()
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok {
			if ip, ok := netip.AddrFromSlice(n.IP); ok {
				list = append(list, ip.Unmap())
			}
		}
	}
	return list
}

// unreachable tells whether err says that there is no way to the other end:
// the kernel found no route, so that nothing was sent.
func unreachable(err error) bool {
	for _, e := range []error{
		syscall.ENETUNREACH, syscall.EHOSTUNREACH, syscall.ENETDOWN, syscall.EADDRNOTAVAIL, syscall.EAFNOSUPPORT,
	} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

func refused(err error) bool { return errors.Is(err, syscall.ECONNREFUSED) }
