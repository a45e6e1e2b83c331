package port

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// stream is a serial port, a pty, a kernel GNSS device or a FIFO.
//
// The descriptor itself is kept out of the runtime's poller, which would be
// woken by each byte that trickles in, wanted or not. It sits in an epoll set
// of its own with EPOLLONESHOT, armed only while read waits; the poller watches
// that set.
type stream struct {
	fd    int
	set   *os.File // the epoll set
	armed unix.EpollEvent
	kind  traits

	mu      sync.Mutex
	stopped bool
}

// openStream opens a character device or FIFO. The order is that of safety:
// first the lines go down, then everything else.
func openStream(path string, mode, baud int) (source, error) {
	fd, err := openFile(path, mode|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC)
	if err != nil {
		return nil, &os.PathError{Op: "open", Path: path, Err: err}
	}
	s := &stream{fd: fd, kind: traits{rest: true}}
	if err := s.setUp(mode, baud); err != nil {
		unix.Close(fd)
		return nil, &os.PathError{Op: "set up", Path: path, Err: err}
	}
	return s, nil
}

func openFile(path string, flags int) (int, error) {
	for {
		fd, err := unix.Open(path, flags, 0)
		if err != unix.EINTR {
			return fd, err
		}
	}
}

func (s *stream) setUp(mode, baud int) error {
	s.lowerLines()
	_, err := unix.IoctlGetTermios(s.fd, unix.TCGETS2)
	switch {
	case err == nil:
		s.kind.speed = !isPTY(s.fd)
		if err := s.setUpLine(baud); err != nil {
			return err
		}
	case !errors.Is(err, unix.ENOTTY) && !errors.Is(err, unix.EINVAL):
		return err
	case mode == unix.O_RDONLY && !isGNSS(s.fd):
		return errNotSerial
	}
	epfd, err := unix.EpollCreate1(unix.EPOLL_CLOEXEC)
	if err != nil {
		return err
	}
	s.armed = unix.EpollEvent{Events: unix.EPOLLIN | unix.EPOLLONESHOT, Fd: int32(s.fd)}
	if err = unix.EpollCtl(epfd, unix.EPOLL_CTL_ADD, s.fd, &unix.EpollEvent{Events: unix.EPOLLONESHOT}); err == nil {
		err = unix.SetNonblock(epfd, true) // tells os.NewFile that it may be polled
	}
	if err != nil {
		unix.Close(epfd)
		return err
	}
	s.set = os.NewFile(uintptr(epfd), "epoll")
	return nil
}

// setUpLine makes the line raw, exclusive, and empty.
func (s *stream) setUpLine(baud int) error {
	// Root passes TIOCEXCL, so other copies of ourselves are kept out by a lock
	// as well. Neither stops a program that had the port open before us.
	if err := unix.Flock(s.fd, unix.LOCK_EX|unix.LOCK_NB); errors.Is(err, unix.EWOULDBLOCK) {
		return unix.EBUSY
	}
	if err := s.setMode(baud); err != nil {
		return err
	}
	// What fails here is not worth refusing the port for.
	_ = unix.IoctlSetInt(s.fd, unix.TIOCEXCL, 0)
	return unix.IoctlSetInt(s.fd, unix.TCFLSH, unix.TCIFLUSH)
}

// setMode sets 8N1 raw, no flow control, no HUPCL, and the speed. Never B0,
// whose end would raise the lines; and they are lowered once more after it,
// because some drivers set RTS anew with the flow control.
func (s *stream) setMode(baud int) error {
	t, err := unix.IoctlGetTermios(s.fd, unix.TCGETS2)
	if err != nil {
		return err
	}
	t.Iflag, t.Oflag, t.Lflag = 0, t.Oflag&^unix.OPOST, 0
	t.Cflag &^= unix.CSIZE | unix.PARENB | unix.PARODD | unix.CMSPAR | unix.CSTOPB |
		unix.CRTSCTS | unix.HUPCL | unix.CBAUD | unix.CBAUD<<16
	t.Cflag |= unix.CS8 | unix.CREAD | unix.CLOCAL | unix.BOTHER
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	t.Ispeed, t.Ospeed = uint32(baud), uint32(baud)
	err = unix.IoctlSetTermios(s.fd, unix.TCSETS2, t)
	s.lowerLines()
	return err
}

// lowerLines puts DTR and RTS down. Ptys, FIFOs and GNSS devices have none.
func (s *stream) lowerLines() {
	_ = unix.IoctlSetPointerInt(s.fd, unix.TIOCMBIC, unix.TIOCM_DTR|unix.TIOCM_RTS)
}

func (s *stream) setBaud(baud int) error {
	if err := s.setMode(baud); err != nil {
		return err
	}
	return unix.IoctlSetInt(s.fd, unix.TCFLSH, unix.TCIFLUSH)
}

func (s *stream) traits() traits { return s.kind }

func (s *stream) read(p []byte, wait time.Duration) (int, error) {
	n, err := s.take(p)
	if n > 0 || err != nil || wait <= 0 {
		return n, err
	}
	if err := unix.EpollCtl(int(s.epfd()), unix.EPOLL_CTL_MOD, s.fd, &s.armed); err != nil {
		return 0, err
	}
	if err := s.await(wait); err != nil {
		if errors.Is(err, os.ErrDeadlineExceeded) {
			return 0, nil
		}
		return 0, err
	}
	return s.take(p)
}

// take reads without waiting. A hung-up tty reads as end of file or EIO.
func (s *stream) take(p []byte) (int, error) {
	for {
		n, err := unix.Read(s.fd, p)
		switch {
		case err == unix.EINTR:
		case err == unix.EAGAIN:
			return 0, nil
		case err != nil:
			return 0, err
		case n == 0:
			return 0, io.EOF
		default:
			return n, nil
		}
	}
}

// await returns nil when the armed descriptor has something to say.
func (s *stream) await(wait time.Duration) error {
	s.mu.Lock()
	deadline := time.Now().Add(wait)
	if s.stopped {
		deadline = time.Unix(1, 0)
	}
	err := s.set.SetReadDeadline(deadline)
	s.mu.Unlock()
	if err != nil {
		return err
	}
	raw, err := s.set.SyscallConn()
	if err != nil {
		return err
	}
	return raw.Read(func(epfd uintptr) bool {
		var ev [1]unix.EpollEvent
		n, err := unix.EpollWait(int(epfd), ev[:], 0)
		return n > 0 || err != nil && err != unix.EINTR
	})
}

func (s *stream) epfd() (fd uintptr) {
	raw, err := s.set.SyscallConn()
	if err != nil {
		return ^uintptr(0)
	}
	if raw.Control(func(f uintptr) { fd = f }) != nil {
		return ^uintptr(0)
	}
	return fd
}

func (s *stream) stop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.stopped = true
	_ = s.set.SetReadDeadline(time.Unix(1, 0))
}

func (s *stream) Close() error {
	return errors.Join(s.set.Close(), unix.Close(s.fd))
}

// isPTY: the slaves of ptys are majors 136 to 143 (Linux,
// Documentation/admin-guide/devices.txt). They carry any speed alike.
func isPTY(fd int) bool {
	var st unix.Stat_t
	if unix.Fstat(fd, &st) != nil {
		return false
	}
	major := unix.Major(uint64(st.Rdev))
	return major >= 136 && major <= 143
}

// isGNSS asks sysfs for the class of a device that is no tty.
func isGNSS(fd int) bool {
	var st unix.Stat_t
	if unix.Fstat(fd, &st) != nil {
		return false
	}
	link, err := os.Readlink(fmt.Sprintf("/sys/dev/char/%d:%d/subsystem",
		unix.Major(uint64(st.Rdev)), unix.Minor(uint64(st.Rdev))))
	return err == nil && filepath.Base(link) == "gnss"
}
