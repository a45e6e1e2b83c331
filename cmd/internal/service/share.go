package service

import (
	"fmt"
	"net"
	"net/url"
	"strings"

	"noonmark/cmd/internal/config"
	"noonmark/gnss/share"
	"noonmark/status"
)

// sharing is where the settings want the sentences passed on to. What would feed
// the receiver's own port again is refused.
func sharing(set config.Config) (share.Config, error) {
	r := set.Receiver
	c := share.Config{TCP: r.ShareTCP, UDP: r.ShareUDP, PTY: r.SharePTY}
	if c.PTY != "" && c.PTY == r.Device {
		return c, fmt.Errorf("receiver.share_pty is the receiver's own port %s: name another path, such as /run/noonmark/receiver", c.PTY)
	}
	u, err := url.Parse(r.Device)
	if err != nil || u.Port() == "" {
		return c, nil
	}
	for scheme, key := range map[string]string{"tcp": c.TCP, "udp": c.UDP} {
		host, port, err := net.SplitHostPort(key)
		if err != nil || u.Scheme != scheme || u.Port() != port {
			continue
		}
		ip := net.ParseIP(u.Hostname())
		if scheme == "udp" || u.Hostname() == host || u.Hostname() == "localhost" || ip != nil && ip.IsLoopback() {
			return c, fmt.Errorf("receiver.share_%s uses the port of receiver.device %s, and would hear itself: choose another port", scheme, r.Device)
		}
	}
	return c, nil
}

// openSharing prepares to pass the sentences on, if that is wanted.
func (s *service) openSharing(c share.Config) {
	if c.Any() {
		s.sharer = share.New(c)
	}
}

// shareProblem is told by the sharing goroutine.
func (s *service) shareProblem(outlet, reason string) {
	s.events <- func() {
		about := "sharing by " + outlet
		if reason == "" {
			s.log.Info(about, "state", "works")
			return
		}
		s.warn(about, strings.TrimPrefix(reason, "share: "))
	}
}

// shared counts for the status, nil when nothing is shared.
func (s *service) shared() *status.Sharing {
	if s.sharer == nil {
		return nil
	}
	c := s.sharer.Counts()
	return &status.Sharing{Readers: c.Readers, Lines: c.Lines, Lost: c.Lost}
}
