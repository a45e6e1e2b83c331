package port

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func opened(t *testing.T, path string, baud int) *stream {
	t.Helper()
	src, err := open(t.Context(), target{"path", path}, baud)
	if err != nil {
		t.Fatal(err)
	}
	return src.(*stream)
}

// TestLineSettings reads back from the kernel what opening set. The pty is a
// real tty for everything but the modem lines, which it answers with ENOTTY.
func TestLineSettings(t *testing.T) {
	master, path := newPTY(t)
	write(t, master, "waiting before the opening\n")
	s := opened(t, path, 4800)
	defer s.Close()
	check := func(baud uint32) {
		t.Helper()
		got, err := unix.IoctlGetTermios(s.fd, unix.TCGETS2)
		if err != nil {
			t.Fatal(err)
		}
		if got.Cflag&unix.HUPCL != 0 {
			t.Error("HUPCL is set")
		}
		if got.Cflag&(unix.CRTSCTS|unix.PARENB|unix.CSTOPB) != 0 || got.Cflag&unix.CSIZE != unix.CS8 || got.Cflag&unix.CLOCAL == 0 {
			t.Errorf("cflag %#o is not 8N1 without flow control", got.Cflag)
		}
		if got.Iflag != 0 || got.Lflag != 0 || got.Cc[unix.VMIN] != 1 || got.Cc[unix.VTIME] != 0 {
			t.Errorf("not raw: iflag %#o lflag %#o", got.Iflag, got.Lflag)
		}
		if got.Ispeed != baud || got.Ospeed != baud {
			t.Errorf("speed %d/%d, want %d", got.Ispeed, got.Ospeed, baud)
		}
	}
	check(4800)
	if v, err := unix.IoctlGetInt(s.fd, unix.TIOCGEXCL); err != nil || v == 0 {
		t.Errorf("not exclusive: %d %v", v, err)
	}
	for _, fd := range []int{s.fd, s.epfd, s.timer} {
		if fl, err := unix.FcntlInt(uintptr(fd), unix.F_GETFD, 0); err != nil || fl&unix.FD_CLOEXEC == 0 {
			t.Errorf("descriptor %d is inherited by children (%v)", fd, err)
		}
	}
	if s.port == nil {
		t.Error("the serial library did not open this line")
	}
	leaked := 0
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	var mine, st unix.Stat_t
	if err := unix.Fstat(s.fd, &mine); err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		n, err := strconv.Atoi(e.Name())
		if err != nil || unix.Fstat(n, &st) != nil || st.Rdev != mine.Rdev || st.Ino != mine.Ino {
			continue
		}
		if fl, err := unix.FcntlInt(uintptr(n), unix.F_GETFD, 0); err == nil && fl&unix.FD_CLOEXEC == 0 {
			leaked++
		}
	}
	if leaked != 0 {
		t.Errorf("%d descriptors of the port are inherited by children", leaked)
	}
	buf := make([]byte, 100)
	if n, err := s.read(buf, 0); n != 0 || err != nil {
		t.Errorf("read %q, %v from before the opening", buf[:n], err)
	}
	for _, baud := range []int{9600, 921600, 250000} {
		if err := s.setBaud(baud); err != nil {
			t.Fatal(err)
		}
		check(uint32(baud))
	}
	// A second copy of ourselves is kept out, even as root.
	if _, err := open(t.Context(), target{"path", path}, 9600); !errors.Is(err, syscall.EBUSY) {
		t.Errorf("a second opening gave %v, want EBUSY", err)
	}
}

// TestReadWaits: nothing for long is (0, nil) as often as one likes (a
// bufio.Reader would give up after 100), each byte alone comes alone, and a
// hang-up is an error at once and for ever.
func TestReadWaits(t *testing.T) {
	master, slave := newPTY(t)
	s := opened(t, slave, 9600)
	defer s.Close()
	buf := make([]byte, 100)
	for i := range 150 {
		if n, err := s.read(buf, time.Millisecond); n != 0 || err != nil {
			t.Fatalf("quiet read %d: %d %v", i, n, err)
		}
	}
	begin := time.Now()
	if n, err := s.read(buf, 80*time.Millisecond); n != 0 || err != nil || time.Since(begin) < 75*time.Millisecond {
		t.Errorf("read returned %d %v after %v", n, err, time.Since(begin))
	}
	for _, b := range "abc" {
		go func() { time.Sleep(5 * time.Millisecond); master.WriteString(string(b)) }()
		if n, err := s.read(buf, 10*time.Second); n != 1 || err != nil || buf[0] != byte(b) {
			t.Errorf("read %q %v, want %q", buf[:n], err, b)
		}
	}
	go func() { time.Sleep(5 * time.Millisecond); master.Close() }()
	for range 3 {
		if n, err := s.read(buf, 10*time.Second); n != 0 || err == nil {
			t.Errorf("after the hang-up: %d %v", n, err)
		}
	}
}

func TestStop(t *testing.T) {
	_, slave := newPTY(t)
	s := opened(t, slave, 9600)
	defer s.Close()
	go func() { time.Sleep(20 * time.Millisecond); s.stop() }()
	begin := time.Now()
	buf := make([]byte, 10)
	for range 3 {
		if n, err := s.read(buf, 10*time.Second); n != 0 || err != nil {
			t.Errorf("%d %v", n, err)
		}
	}
	if d := time.Since(begin); d > 5*time.Second {
		t.Errorf("stopped after %v", d)
	}
}

// TestHighDescriptor: select(2) stops at descriptor 1023; we must not.
func TestHighDescriptor(t *testing.T) {
	master, slave := newPTY(t)
	for range 1100 {
		fd, err := unix.Open("/dev/null", unix.O_RDONLY|unix.O_CLOEXEC, 0)
		if err != nil {
			t.Skipf("cannot open so many files here: %v", err)
		}
		defer unix.Close(fd)
	}
	s := opened(t, slave, 9600)
	defer s.Close()
	if s.fd < 1024 {
		t.Fatalf("descriptor %d proves nothing", s.fd)
	}
	go func() { time.Sleep(5 * time.Millisecond); master.WriteString("x") }()
	buf := make([]byte, 10)
	if n, err := s.read(buf, 10*time.Second); n != 1 || err != nil {
		t.Errorf("read %d %v", n, err)
	}
}

// TestNotAPort: what is no byte source is named as such, not read.
func TestNotAPort(t *testing.T) {
	dir := t.TempDir()
	sock := filepath.Join(dir, "s")
	if err := unix.Mkfifo(filepath.Join(dir, "fifo"), 0o600); err != nil {
		t.Fatal(err)
	}
	fd, err := unix.Socket(unix.AF_UNIX, unix.SOCK_STREAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(fd)
	if err := unix.Bind(fd, &unix.SockaddrUnix{Name: sock}); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]error{
		"/dev/null": errNotSerial, "/dev/zero": errNotSerial, dir: errNotSerial, sock: errNotSerial,
		filepath.Join(dir, "none"): os.ErrNotExist,
		filepath.Join(dir, "fifo"): nil,
	} {
		src, err := open(t.Context(), target{"path", path}, 9600)
		if !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", path, err, want)
		}
		if err == nil {
			src.Close()
		}
	}
}

// TestFIFO: writers come and go, the source stays.
func TestFIFO(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fifo")
	if err := unix.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	s := opened(t, path, 0)
	defer s.Close()
	buf := make([]byte, 10)
	for _, want := range []string{"one", "two"} {
		w, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		write(t, w, want)
		w.Close()
		if n, err := s.read(buf, 10*time.Second); string(buf[:n]) != want || err != nil {
			t.Errorf("%q %v", buf[:n], err)
		}
		if n, err := s.read(buf, time.Millisecond); n != 0 || err != nil {
			t.Errorf("%d %v after the writer went", n, err)
		}
	}
}

func TestClassify(t *testing.T) {
	dir := t.TempDir()
	locked := filepath.Join(dir, "locked")
	if err := os.WriteFile(locked, nil, 0o660); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(locked, 0o660); err != nil {
		t.Fatal(err)
	}
	group := "its group may not either"
	if os.Chown(locked, -1, 20) == nil {
		group = "add the user to the group " // 20: dialout on Debian; the name where it has one
	}
	path := func(err error) error { return &os.PathError{Op: "open", Path: locked, Err: err} }
	for _, c := range []struct {
		t    target
		err  error
		kind Kind
		why  string
	}{
		{target{"path", locked}, path(syscall.EACCES), Refused, group},
		{target{"path", locked}, path(syscall.EPERM), Refused, "may not be read"},
		{target{"path", locked}, path(syscall.EBUSY), Refused, "another program"},
		{target{"path", locked}, path(syscall.ENOENT), Waiting, "is not there"},
		{target{"path", locked}, path(syscall.EIO), Waiting, "no hardware answers"},
		{target{"path", locked}, path(syscall.EMFILE), Refused, "too many open files"},
		{target{"path", locked}, errNotSerial, Refused, "not a serial port"},
		{target{"tcp", "127.0.0.1:1"}, io.ErrUnexpectedEOF, Waiting, "check the address"},
	} {
		p := classify(c.t, c.err)
		if p.kind != c.kind || !strings.Contains(p.reason, c.why) || p.again <= 0 {
			t.Errorf("%v: %v %q, want %v …%s…", c.err, p.kind, p.reason, c.kind, c.why)
		}
	}
}
