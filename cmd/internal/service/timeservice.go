package service

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"runtime"
	"sync/atomic"
	"syscall"

	"github.com/coreos/go-systemd/v22/activation"

	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/station"
	"noonmark/status"
	"noonmark/status/timeserver"
)

// timeSocket is the name of sockets passed by the service manager (their
// FileDescriptorName): port 123 wants a right that the service does not have.
const timeSocket = "noonmark-time"

// timeService answers other devices' questions for the time. The owner of the
// station publishes through it; it never asks the owner.
type timeService struct {
	server *timeserver.Server
	conns  []*net.UDPConn
	state  atomic.Pointer[timeserver.State]
	noted  hostclock.Noted
}

// newTimeService opens the sockets: those passed, else address.
func newTimeService(address string) (*timeService, error) {
	conns, err := passedConns()
	if err == nil && len(conns) == 0 {
		conns, err = listenTime(address)
	}
	if err != nil {
		return nil, err
	}
	t := &timeService{conns: conns}
	t.server = timeserver.New(t.state.Load, timeserver.Limit{})
	return t, nil
}

// passedConns are the sockets that the service manager opened for the time service.
func passedConns() ([]*net.UDPConn, error) {
	var conns []*net.UDPConn
	for _, f := range activation.Files(true) {
		if f.Name() != timeSocket {
			f.Close()
			continue
		}
		c, err := net.FilePacketConn(f)
		f.Close()
		u, ok := c.(*net.UDPConn)
		if err != nil || !ok {
			return nil, fmt.Errorf("a passed socket named %s is not a datagram socket (%v): its unit needs ListenDatagram=", timeSocket, err)
		}
		conns = append(conns, u)
	}
	return conns, nil
}

func listenTime(address string) ([]*net.UDPConn, error) {
	c, err := net.ListenPacket("udp", address)
	switch {
	case errors.Is(err, os.ErrPermission):
		return nil, fmt.Errorf("%w: the service may not open this port. Let the service manager open it (noonmark-time.socket), or choose a port above 1023", err)
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, fmt.Errorf("%w: another program serves time there: stop one of the two", err)
	case err != nil:
		return nil, err
	}
	return []*net.UDPConn{c.(*net.UDPConn)}, nil
}

// publish hands the judged time over; p and tick are of one instant.
func (t *timeService) publish(s *station.Station, tick station.Tick, p hostclock.Pair) {
	t.noted.Note(p)
	t.state.Store(s.Served(tick))
}

// counts for the status, nil where nothing is served.
func (t *timeService) counts() *status.TimeService {
	if t == nil {
		return nil
	}
	c := t.server.Counts()
	return &status.TimeService{Answered: int64(c.Answered), Limited: int64(c.Limited), Ignored: int64(c.Ignored), Dropped: int64(c.Dropped)}
}

// serve answers on the i-th socket until ctx ends.
func (t *timeService) serve(ctx context.Context, i int) error {
	return t.server.Serve(ctx, t.conns[i], t.noted.Arrivals())
}

// openTimeService opens the time service if it is wanted. Without it the rest works
// all the same.
func (s *service) openTimeService(address string) bool {
	if address == "" {
		return false
	}
	t, err := newTimeService(address)
	if err != nil {
		s.warn("time service", err.Error())
		return false
	}
	// Under a flood the server never rests: on the one processor of serve, arrivals
	// from the receiver would be seen only every 10 ms, when the runtime looks.
	runtime.GOMAXPROCS(2)
	for _, c := range t.conns {
		s.log.Info("time service", "address", c.LocalAddr().String())
	}
	s.timeServer = t
	return true
}

// served tells whether a device at an address was given the time.
func (t *timeService) served(address string) bool {
	a, err := netip.ParseAddr(address)
	return err != nil || t.server.Served(a)
}
