package share

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// terminal is a pty with a stable name, for programs that read serial ports.
//
// We hold the master only. Poll shows POLLHUP on it while nobody has the other end
// open, once somebody had (so it is opened and closed at the start): then nothing
// is written, for whoever comes next would read it as new. Tried on Linux 6.18.
type terminal struct {
	stream
	master int
	link   string // the stable name
	name   string // what it leads to
	idle   bool   // nobody has it open
}

const ptyDir = "/dev/pts/"

func openTerminal(link string) (*terminal, error) {
	t := &terminal{link: link, idle: true}
	var err error
	if t.master, err = unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0); err != nil {
		return nil, fmt.Errorf("share: open /dev/ptmx: %w", err)
	}
	t.write = t.put
	err = t.setUp()
	if err == nil {
		err = t.place()
	}
	if err != nil {
		unix.Close(t.master)
		return nil, fmt.Errorf("share: %w", err)
	}
	return t, nil
}

// ptyMode is for us and the group of serial ports. Most programs open a receiver for
// reading and writing; who may write to a pty may also change its settings and take
// what others should read, so that it is not for everybody.
const ptyMode = 0o660

// ptyGroup is the group of serial ports (Debian and most others).
const ptyGroup = "dialout"

// setUp unlocks the other end (ptmx(4)), makes it raw, and lets the group open it.
func (t *terminal) setUp() error {
	if err := unix.IoctlSetPointerInt(t.master, unix.TIOCSPTLCK, 0); err != nil {
		return fmt.Errorf("unlock the pty: %w", err)
	}
	n, err := unix.IoctlGetInt(t.master, unix.TIOCGPTN)
	if err != nil {
		return fmt.Errorf("name of the pty: %w", err)
	}
	t.name = fmt.Sprintf("%s%d", ptyDir, n)
	if err := errors.Join(os.Chown(t.name, -1, group()), os.Chmod(t.name, ptyMode)); err != nil {
		return err
	}
	return t.fresh()
}

// group is that of serial ports if we may give it away, else our own.
func group() int {
	own := os.Getegid()
	g, err := user.LookupGroup(ptyGroup)
	if err != nil {
		return own
	}
	id, err := strconv.Atoi(g.Gid)
	mine, _ := os.Getgroups()
	if err == nil && (os.Geteuid() == 0 || slices.Contains(mine, id)) {
		return id
	}
	return own
}

// fresh opens the other end for a moment and makes the line raw, whatever settings
// the last reader left, and empty of what it did not read: only from there can the
// line's own buffer be emptied.
func (t *terminal) fresh() error {
	fd, err := unix.Open(t.name, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return &os.PathError{Op: "open", Path: t.name, Err: err}
	}
	err = raw(fd)
	return errors.Join(err, unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIOFLUSH), unix.Close(fd))
}

// raw sets no echo, no line editing, eight bits.
func raw(fd int) error {
	tio, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return fmt.Errorf("settings of the pty: %w", err)
	}
	tio.Iflag, tio.Oflag, tio.Lflag = 0, 0, 0
	tio.Cflag = tio.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8 | unix.CREAD
	tio.Cc[unix.VMIN], tio.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(fd, unix.TCSETS, tio)
}

// place makes the stable name lead here. It replaces only a link to a pty, which a
// killed process left.
func (t *terminal) place() error {
	was, err := os.Readlink(t.link)
	switch {
	case err == nil && strings.HasPrefix(was, ptyDir), errors.Is(err, os.ErrNotExist):
	case errors.Is(err, unix.EINVAL), err == nil:
		return fmt.Errorf("%s is there and was not made by noonmark: remove it, or set another share_pty", t.link)
	default:
		return err
	}
	tmp := filepath.Join(filepath.Dir(t.link), "."+filepath.Base(t.link)+".new")
	if err := os.Remove(tmp); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Symlink(t.name, tmp); err != nil {
		return err
	}
	return os.Rename(tmp, t.link)
}

// deliver writes lines if somebody has the other end open.
func (t *terminal) deliver(lines []byte) (lost int64, err error) {
	t.discard()
	if t.closed() {
		if !t.idle {
			t.idle, t.rest = true, nil
			_ = unix.IoctlSetInt(t.master, unix.TCFLSH, unix.TCIOFLUSH) // on its way
			err = t.fresh()
		}
		return 0, err
	}
	t.idle = false
	return t.stream.deliver(lines)
}

func (t *terminal) closed() bool {
	p := []unix.PollFd{{Fd: int32(t.master)}}
	_, err := unix.Poll(p, 0)
	return err == nil && p[0].Revents&unix.POLLHUP != 0
}

// discard throws away what readers write, so that they never wait for us.
func (t *terminal) discard() {
	var buf [512]byte
	for range 16 {
		if n, err := unix.Read(t.master, buf[:]); n <= 0 || err != nil {
			return
		}
	}
}

func (t *terminal) put(p []byte) (int, error) { return taken(unix.Write(t.master, p)) }

// readers is 1 while somebody has the pty open, as of the last line.
func (t *terminal) readers() int64 {
	if t == nil || t.idle {
		return 0
	}
	return 1
}

// close takes the name away, if it is still ours. Readers see the end.
func (t *terminal) close() {
	if t == nil {
		return
	}
	if to, err := os.Readlink(t.link); err == nil && to == t.name {
		_ = os.Remove(t.link)
	}
	unix.Close(t.master)
}
