package port

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"sync"
	"time"
)

// connSource is a TCP connection or a UDP socket. Each read takes one segment
// or datagram.
type connSource struct {
	net.Conn
	packets bool

	mu      sync.Mutex
	stopped bool
}

// dialTCP connects. A server that loses its power says no goodbye: keep-alives
// find out within about 25 s.
func dialTCP(ctx context.Context, addr string) (source, error) {
	d := net.Dialer{
		Timeout:         10 * time.Second,
		KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: 10 * time.Second, Interval: 5 * time.Second, Count: 3},
	}
	c, err := d.DialContext(ctx, "tcp", addr)
	if err != nil {
		return nil, err
	}
	return &connSource{Conn: c}, nil
}

func listenUDP(addr string) (source, error) {
	a, err := net.ResolveUDPAddr("udp", addr)
	if err != nil {
		return nil, err
	}
	var c *net.UDPConn
	if a.IP.IsMulticast() {
		c, err = net.ListenMulticastUDP("udp", nil, a)
	} else {
		c, err = net.ListenUDP("udp", a)
	}
	if err != nil {
		return nil, err
	}
	return &connSource{Conn: c, packets: true}, nil
}

func (s *connSource) read(p []byte, wait time.Duration) (int, error) {
	s.mu.Lock()
	deadline := time.Now().Add(wait)
	if s.stopped {
		deadline = time.Unix(1, 0)
	}
	err := s.SetReadDeadline(deadline)
	s.mu.Unlock()
	if err != nil {
		return 0, err
	}
	n, err := s.Read(p)
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		return 0, nil
	case s.packets && errors.Is(err, io.EOF): // an empty datagram ends nothing
		return 0, nil
	}
	return n, err
}

func (s *connSource) stop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.stopped = true
	_ = s.SetReadDeadline(time.Unix(1, 0))
}

func (s *connSource) rest(d time.Duration) { time.Sleep(d) }
func (s *connSource) setBaud(int) error    { return nil }
func (s *connSource) traits() traits       { return traits{} }

// fileSource is a plain file: read once, to its end.
type fileSource struct{ f *os.File }

func (s *fileSource) read(p []byte, _ time.Duration) (int, error) { return s.f.Read(p) }
func (s *fileSource) rest(time.Duration)                          {}
func (s *fileSource) setBaud(int) error                           { return nil }
func (s *fileSource) stop()                                       {}
func (s *fileSource) Close() error                                { return s.f.Close() }
func (s *fileSource) traits() traits                              { return traits{plain: true} }
