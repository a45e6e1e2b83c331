package port

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// stream is a serial port, a pty, a kernel GNSS device or a FIFO.
//
// The descriptor itself is kept out of the runtime's poller, which would be
// woken by each byte that trickles in, wanted or not. It sits in an epoll set
// of its own with EPOLLONESHOT, armed only while read waits; the poller watches
// that set. A timerfd in the same set ends waits and rests: a timer of the
// runtime wakes the process twice and sometimes a second thread (seen with
// strace).
type stream struct {
	fd    int      // of our own; a duplicate of the library's for a serial line
	set   *os.File // the epoll set
	raw   syscall.RawConn
	epfd  int
	timer int
	kind  traits
	tty   bool
	port  serial.Port // the library's handle on a serial line; nil otherwise
}

// openStream opens a character device or FIFO, a serial line by the library.
func openStream(path string, mode, baud int) (source, error) {
	s := &stream{fd: -1, epfd: -1, timer: -1, kind: traits{rest: true}}
	var err error
	if ttyPath(path) {
		s.fd, s.port, err = openTTY(path, baud)
		if err == nil {
			err = unix.SetNonblock(s.fd, true)
		}
	} else {
		s.fd, err = openFile(path, mode|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC)
	}
	if err != nil {
		s.Close()
		return nil, &os.PathError{Op: "open", Path: path, Err: err}
	}
	if err := s.setUp(mode, baud); err != nil {
		s.Close()
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
	holdOutput(s.fd)
	_, err := unix.IoctlGetTermios(s.fd, unix.TCGETS2)
	switch {
	case err == nil:
		s.tty, s.kind.speed = true, !isPTY(s.fd)
		if err := s.setUpLine(baud); err != nil {
			return err
		}
	case !errors.Is(err, unix.ENOTTY) && !errors.Is(err, unix.EINVAL):
		return err
	case mode == unix.O_RDONLY && !isGNSS(s.fd):
		return errNotSerial
	}
	return s.setUpWaiting()
}

// setUpWaiting makes the epoll set. What it leaves open after an error, Close
// closes.
func (s *stream) setUpWaiting() (err error) {
	if s.timer, err = unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_CLOEXEC|unix.TFD_NONBLOCK); err != nil {
		return err
	}
	if s.epfd, err = unix.EpollCreate1(unix.EPOLL_CLOEXEC); err != nil {
		return err
	}
	if err := unix.SetNonblock(s.epfd, true); err != nil { // tells os.NewFile that it may be polled
		return err
	}
	err = unix.EpollCtl(s.epfd, unix.EPOLL_CTL_ADD, s.fd, &unix.EpollEvent{Events: unix.EPOLLONESHOT, Fd: int32(s.fd)})
	if err != nil {
		return err
	}
	err = unix.EpollCtl(s.epfd, unix.EPOLL_CTL_ADD, s.timer, &unix.EpollEvent{Events: unix.EPOLLIN, Fd: int32(s.timer)})
	if err != nil {
		return err
	}
	s.set = os.NewFile(uintptr(s.epfd), "epoll")
	s.raw, err = s.set.SyscallConn()
	return err
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
	neverDrain(s.fd)
	return unix.IoctlSetInt(s.fd, unix.TCFLSH, unix.TCIOFLUSH)
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
	return unix.IoctlSetInt(s.fd, unix.TCFLSH, unix.TCIOFLUSH)
}

func (s *stream) traits() traits { return s.kind }

func (s *stream) read(p []byte, wait time.Duration) (int, error) {
	n, err := s.take(p)
	if n > 0 || err != nil || wait <= 0 {
		return n, err
	}
	armed := unix.EpollEvent{Events: unix.EPOLLIN | unix.EPOLLONESHOT, Fd: int32(s.fd)}
	if err := unix.EpollCtl(s.epfd, unix.EPOLL_CTL_MOD, s.fd, &armed); err != nil {
		return 0, err
	}
	if ready, err := s.await(wait); !ready {
		return 0, err
	}
	return s.take(p)
}

// rest leaves the port alone for so long. A stop ends it.
func (s *stream) rest(d time.Duration) { _, _ = s.await(d) }

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
			if s.tty {
				s.keepRaw()
			}
			return n, nil
		}
	}
}

// await returns true when the port, if armed, has something to say, and false
// when the time is over or stop was called.
func (s *stream) await(d time.Duration) (ready bool, err error) {
	spec := unix.ItimerSpec{Value: unix.NsecToTimespec(max(int64(d), 1))}
	if err := unix.TimerfdSettime(s.timer, 0, &spec, nil); err != nil {
		return false, err
	}
	over := false
	err = s.raw.Read(func(uintptr) bool {
		var ev [2]unix.EpollEvent
		n, err := unix.EpollWait(s.epfd, ev[:], 0)
		for i := range max(n, 0) {
			if ev[i].Fd == int32(s.fd) {
				ready = true
				continue
			}
			var count [8]byte
			_, _ = unix.Read(s.timer, count[:])
			over = true
		}
		return ready || over || err != nil && err != unix.EINTR
	})
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return ready, err
}

// stop: no other deadline is ever set, so this one lasts.
func (s *stream) stop() { _ = s.set.SetReadDeadline(time.Unix(1, 0)) }

// Close closes what has been opened so far, our own descriptors first. Only the
// reading goroutine calls it. It does not wait for output to drain (output_linux.go).
func (s *stream) Close() error {
	var errs []error
	if s.fd >= 0 {
		dropOutput(s.fd)
	}
	if s.set != nil {
		errs = append(errs, s.set.Close())
	} else if s.epfd >= 0 {
		errs = append(errs, unix.Close(s.epfd))
	}
	for _, fd := range []int{s.timer, s.fd} {
		if fd >= 0 {
			errs = append(errs, unix.Close(fd))
		}
	}
	if s.port != nil {
		errs = append(errs, s.port.Close())
	}
	return errors.Join(errs...)
}

// isPTY: the slaves of ptys are majors 136 to 143 (Linux,
// Documentation/admin-guide/devices.txt). They carry any speed alike.
func isPTY(fd int) bool {
	var st unix.Stat_t
	return unix.Fstat(fd, &st) == nil && ptyMajor(&st)
}

func ptyMajor(st *unix.Stat_t) bool {
	major := unix.Major(uint64(st.Rdev))
	return major >= 136 && major <= 143
}

// isGNSS asks sysfs for the class of a device that is no tty.
func isGNSS(fd int) bool {
	var st unix.Stat_t
	return unix.Fstat(fd, &st) == nil && class(&st) == "gnss"
}

// ttyPath reports whether path is a terminal line, without opening it.
func ttyPath(path string) bool {
	var st unix.Stat_t
	return unix.Stat(path, &st) == nil && st.Mode&unix.S_IFMT == unix.S_IFCHR && (ptyMajor(&st) || class(&st) == "tty")
}

// class is the kernel's class of a character device, or "".
func class(st *unix.Stat_t) string {
	link, err := os.Readlink(fmt.Sprintf("/sys/dev/char/%d:%d/subsystem",
		unix.Major(uint64(st.Rdev)), unix.Minor(uint64(st.Rdev))))
	if err != nil {
		return ""
	}
	return filepath.Base(link)
}
