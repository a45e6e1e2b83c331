package config

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
)

func device(s string) (string, error) {
	scheme, _, found := strings.Cut(s, "://")
	if !found {
		return pathOr("auto")(s)
	}
	u, err := url.Parse(s)
	switch {
	case err != nil || (scheme != "tcp" && scheme != "udp") || strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.User != nil:
		return "", fmt.Errorf("must be \"auto\", a path, tcp://host:port or udp://:port, but is %q", s)
	case scheme == "tcp" && u.Hostname() == "":
		return "", fmt.Errorf("must name the host to connect to, as in tcp://192.168.1.5:10110, but is %q", s)
	}
	if _, err := address(u.Host); err != nil || u.Host == "" {
		return "", fmt.Errorf("must have a port from 1 to 65535 after the host, but is %q", s)
	}
	return s, nil
}

// address takes host:port, :port, or nothing.
func address(s string) (string, error) {
	if s == "" {
		return "", nil
	}
	host, port, err := net.SplitHostPort(s)
	if err == nil && !strings.ContainsAny(host, " /\t") {
		if n, err := strconv.ParseUint(port, 10, 16); err == nil && n > 0 {
			return s, nil
		}
	}
	return "", fmt.Errorf("must be an address and port such as \"127.0.0.1:8173\" or \":8173\", or \"\" for none, but is %q", s)
}

// destination takes an IP address and port to send to, or nothing.
func destination(s string) (string, error) {
	if s == "" {
		return "", nil
	}
	a, err := netip.ParseAddrPort(s)
	if err != nil || a.Port() == 0 || a.Addr().IsUnspecified() {
		return "", fmt.Errorf("must be an IP address and port such as \"192.168.1.255:10110\", or \"\" for none, but is %q", s)
	}
	return s, nil
}

// server takes a name or address, with or without a port.
func server(s string) (string, error) {
	host := s
	if net.ParseIP(s) == nil && strings.Contains(s, ":") {
		if _, err := address(s); err != nil {
			return "", fmt.Errorf("must be a server's name or address, but is %q", s)
		}
		host, _, _ = net.SplitHostPort(s)
	}
	if host == "" || strings.ContainsAny(host, " \t/\\@?#") {
		return "", fmt.Errorf("must be a server's name or address, but is %q", s)
	}
	return s, nil
}
