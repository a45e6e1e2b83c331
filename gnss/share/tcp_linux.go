package share

import (
	"context"
	"errors"
	"fmt"
	"net"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// sendBuffer bounds the backlog of a client on our side, bytes: about half a
// minute at 9600 baud. The kernel doubles it for its own needs (socket(7)).
const sendBuffer = 16 << 10

// listen hands each connection to accepted, until the listener is closed or ctx
// ends.
func listen(ctx context.Context, addr string, accepted chan<- net.Conn) (net.Listener, error) {
	lc := net.ListenConfig{KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: 30 * time.Second, Interval: 10 * time.Second, Count: 3}}
	l, err := lc.Listen(ctx, "tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("share: %w", err)
	}
	go func() {
		for {
			c, err := l.Accept()
			if errors.Is(err, net.ErrClosed) || ctx.Err() != nil {
				return
			}
			if err != nil { // out of descriptors, most likely: clients may leave
				time.Sleep(time.Second)
				continue
			}
			select {
			case accepted <- c:
			case <-ctx.Done():
				c.Close()
				return
			}
		}
	}()
	return l, nil
}

// client is one TCP connection.
type client struct {
	stream
	conn net.Conn
	raw  syscall.RawConn
}

func newClient(conn net.Conn) (*client, error) {
	tcp, ok := conn.(*net.TCPConn)
	if !ok {
		return nil, errors.New("share: not a TCP connection")
	}
	if err := tcp.SetWriteBuffer(sendBuffer); err != nil {
		return nil, err
	}
	raw, err := tcp.SyscallConn()
	if err != nil {
		return nil, err
	}
	c := &client{conn: conn, raw: raw}
	c.write = c.send
	return c, nil
}

// send writes what the socket takes now.
func (c *client) send(p []byte) (n int, err error) {
	cerr := c.raw.Write(func(fd uintptr) bool {
		n, err = unix.SendmsgN(int(fd), p, nil, nil, unix.MSG_DONTWAIT|unix.MSG_NOSIGNAL)
		return true
	})
	return taken(n, errors.Join(cerr, err))
}

// gone reports whether the client has closed its end. What it sent is thrown away.
func (c *client) gone() (gone bool) {
	var buf [512]byte
	_ = c.raw.Read(func(fd uintptr) bool {
		for {
			n, _, err := unix.Recvfrom(int(fd), buf[:], unix.MSG_DONTWAIT)
			switch {
			case err == unix.EINTR || n > 0:
			case err == unix.EAGAIN:
				return true
			default:
				gone = true
				return true
			}
		}
	})
	return gone
}

// taken is the outcome of a write that does not wait: what is full, or was
// interrupted, took nothing.
func taken(n int, err error) (int, error) {
	switch {
	case err == nil:
		return max(n, 0), nil
	case errors.Is(err, unix.EAGAIN), errors.Is(err, unix.EINTR), errors.Is(err, unix.ENOBUFS):
		return 0, nil
	}
	return 0, err
}
