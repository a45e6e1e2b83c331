package port

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
	"unsafe"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// setEcho turns the echo of the line at path on, as another program could.
func setEcho(t *testing.T, path string) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	echoOn(t, int(f.Fd()))
}

func echoOn(t *testing.T, fd int) {
	t.Helper()
	mode, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	mode.Lflag |= unix.ECHO
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, mode); err != nil {
		t.Fatal(err)
	}
}

// sent counts the bytes that arrive at the device's end within a moment.
func sent(t *testing.T, master *os.File) int {
	t.Helper()
	fds := []unix.PollFd{{Fd: int32(master.Fd()), Events: unix.POLLIN}}
	buf, all := make([]byte, 4096), 0
	for {
		n, err := unix.Poll(fds, 50)
		if err == unix.EINTR {
			continue
		}
		if n == 0 || err != nil || fds[0].Revents&unix.POLLIN == 0 {
			return all
		}
		got, err := unix.Read(int(master.Fd()), buf)
		if err != nil {
			return all
		}
		all += got
	}
}

// echoes fails the test where the kernel does not send back what comes in.
func echoes(t *testing.T, master *os.File) {
	t.Helper()
	write(t, master, sentence(rmcBody))
	if sent(t, master) == 0 {
		t.Fatal("the kernel does not echo here: this proves nothing")
	}
}

// TestNothingIsSent counts what reaches the device's end of a pty while the kernel
// echoes: before a line is held it echoes all that comes in, afterwards nothing,
// though another program turns the echo on under us.
func TestNothingIsSent(t *testing.T) {
	master, slave := newPTY(t)
	setEcho(t, slave)
	echoes(t, master)
	s := opened(t, slave, 9600)
	for range 3 {
		write(t, master, sentence(rmcBody))
	}
	if n := sent(t, master); n != 0 {
		t.Errorf("%d bytes sent to the receiver after the opening", n)
	}
	echoOn(t, s.fd)
	for range 3 {
		write(t, master, sentence(rmcBody))
	}
	if n := sent(t, master); n != 0 {
		t.Errorf("%d bytes sent to the receiver while another program has the echo on", n)
	}
	if err := s.setBaud(4800); err != nil {
		t.Fatal(err)
	}
	begin := time.Now()
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if d := time.Since(begin); d > 1500*time.Millisecond {
		t.Errorf("closing took %v", d)
	}
	if n := sent(t, master); n != 0 {
		t.Errorf("%d bytes sent to the receiver at the closing", n)
	}
}

// TestOutputIsThrownAway reads the line's own account of what was done to it: a
// master in packet mode (ioctl_tty(2), TIOCPKT) hears of each flush and of the hold.
func TestOutputIsThrownAway(t *testing.T) {
	master, slave := newPTY(t)
	if err := unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCPKT, 1); err != nil {
		t.Fatal(err)
	}
	s := opened(t, slave, 9600)
	if got := packet(master); got&unix.TIOCPKT_STOP == 0 || got&unix.TIOCPKT_FLUSHWRITE == 0 || got&unix.TIOCPKT_FLUSHREAD == 0 {
		t.Errorf("opening: %#x, want the output held and both directions flushed", got)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if got := packet(master); got&unix.TIOCPKT_FLUSHWRITE == 0 {
		t.Errorf("closing: %#x, want the output flushed", got)
	}
}

// packet collects the control bytes that wait at the master.
func packet(master *os.File) (all int) {
	fds := []unix.PollFd{{Fd: int32(master.Fd()), Events: unix.POLLPRI | unix.POLLIN}}
	for buf := make([]byte, 4096); ; {
		if n, err := unix.Poll(fds, 50); n < 1 || err != nil {
			return all
		}
		if n, err := unix.Read(int(master.Fd()), buf); err != nil || n < 1 {
			return all
		}
		all |= int(buf[0])
	}
}

// TestKernelLayout holds serialStruct to the size that the kernel's header gives:
// 60 bytes where pointers have 32 bits, 72 where they have 64.
func TestKernelLayout(t *testing.T) {
	want := map[uintptr]uintptr{4: 60, 8: 72}[unsafe.Sizeof(uintptr(0))]
	if got := unsafe.Sizeof(serialStruct{}); got != want {
		t.Errorf("%d bytes, want %d", got, want)
	}
}

// TestStopIsSoon ends a session whose receiver talks all the time.
func TestStopIsSoon(t *testing.T) {
	master, slave := newPTY(t)
	setEcho(t, slave)
	go func() {
		for line := strings.Repeat(sentence(rmcBody), 4); ; time.Sleep(10 * time.Millisecond) {
			if _, err := master.WriteString(line); err != nil {
				return
			}
		}
	}()
	var begin time.Time
	t.Cleanup(func() { // registered before that of start, and so run after it
		if d := time.Since(begin); d > 1500*time.Millisecond {
			t.Errorf("stopping took %v", d)
		}
	})
	l := start(t, Config{Device: slave}, nil)
	l.until(t, "data", func() bool { return l.data() != "" })
	begin = time.Now()
}

// TestHeldBeforeTheLibraryOpens: what comes in while the library opens the line and
// makes it raw is not echoed to the receiver.
func TestHeldBeforeTheLibraryOpens(t *testing.T) {
	master, slave := newPTY(t)
	setEcho(t, slave)
	echoes(t, master)
	defer func() { libraryOpen = serial.Open }()
	libraryOpen = func(path string, mode *serial.Mode) (serial.Port, error) {
		write(t, master, sentence(rmcBody))
		if n := sent(t, master); n != 0 {
			t.Errorf("%d bytes sent to the receiver before the library opened the line", n)
		}
		return serial.Open(path, mode)
	}
	opened(t, slave, 9600)
	if n := sent(t, master); n != 0 {
		t.Errorf("%d bytes sent to the receiver after the opening", n)
	}
}

// release lets output go again: USB adapters know no hold.
func release(t *testing.T, fd int) {
	t.Helper()
	if err := unix.IoctlSetInt(fd, unix.TCXONC, unix.TCOON); err != nil {
		t.Fatal(err)
	}
}

// TestMuteWithoutAHold: a line that knows no hold of its output is mute by the first call.
func TestMuteWithoutAHold(t *testing.T) {
	master, slave := newPTY(t)
	setEcho(t, slave)
	echoes(t, master)
	fd, err := openMute(slave, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(fd)
	release(t, fd)
	write(t, master, sentence(rmcBody))
	if n := sent(t, master); n != 0 {
		t.Errorf("%d bytes sent to the receiver", n)
	}
}

// TestOpeningThatWaits: an adapter may let its opening wait for seconds. A FIFO does so without end: meanwhile
// the program goes on, and has a second processor, to which the opening comes back without standing in a queue. Of
// several openings the last one gives it back.
func TestOpeningThatWaits(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	fifos, opened := []string{}, make(chan error, 2)
	for _, name := range []string{"one", "two"} {
		fifo := filepath.Join(t.TempDir(), name)
		if err := unix.Mkfifo(fifo, 0o600); err != nil {
			t.Fatal(err)
		}
		fifos = append(fifos, fifo)
		go func() {
			fd, err := openMute(fifo, unix.O_RDONLY|unix.O_CLOEXEC)
			if err == nil {
				err = unix.Close(fd)
			}
			opened <- err
		}()
	}
	for _, fifo := range fifos {
		soon(t, "a second processor", func() bool { return runtime.GOMAXPROCS(0) == 2 })
		var writer int
		soon(t, "a reader that waits in its opening", func() bool {
			fd, err := unix.Open(fifo, unix.O_WRONLY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
			writer = fd
			return err == nil
		})
		if err := <-opened; err != nil {
			t.Error(err)
		}
		unix.Close(writer)
	}
	if n := runtime.GOMAXPROCS(0); n != 1 {
		t.Errorf("%d processors afterwards, want 1", n)
	}
}

func soon(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); !is(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s: not within a minute", what)
		}
	}
}

// TestMuteByTheFirstCall: the settings are whole without asking the line for its own, and those that the kernel gives
// a new USB adapter: neither a call nor a change of the driver's more than it takes.
func TestMuteByTheFirstCall(t *testing.T) {
	_, slave := newPTY(t)
	setEcho(t, slave)
	fd, err := openMute(slave, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(fd)
	mode, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	if mode.Iflag != 0 || mode.Oflag != 0 || mode.Lflag != 0 || mode.Cflag&^(unix.CBAUD<<16) != firstCflag || mode.Cc[unix.VMIN] != 1 {
		t.Errorf("%+v", mode)
	}
}

// TestEchoOfAnotherIsSwitchedOff: a line without a hold echoes one burst at most when another
// program switches the echo on; then it is raw again, at its speed.
func TestEchoOfAnotherIsSwitchedOff(t *testing.T) {
	master, slave := newPTY(t)
	s := opened(t, slave, 4800)
	release(t, s.fd)
	echoOn(t, s.fd)
	echoes(t, master)
	if n, err := s.read(make([]byte, 4096), time.Minute); err != nil || n == 0 {
		t.Fatal(n, err)
	}
	write(t, master, sentence(rmcBody))
	if n := sent(t, master); n != 0 {
		t.Errorf("%d bytes sent to the receiver after its first burst was read", n)
	}
	mode, err := unix.IoctlGetTermios(s.fd, unix.TCGETS2)
	if err != nil || mode.Lflag != 0 || mode.Ospeed != 4800 {
		t.Errorf("%+v, %v", mode, err)
	}
}
