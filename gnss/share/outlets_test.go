package share

import (
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// TestLimit: places are limited; who has left, or is stuck, makes room.
func TestLimit(t *testing.T) {
	cfg := Config{TCP: freeTCP(t)}
	s, tells := begin(t, cfg)
	var all []*net.TCPConn
	for range maxClients {
		all = append(all, dial(t, s, cfg.TCP))
	}
	refused, err := net.Dial("tcp", cfg.TCP)
	if err != nil {
		t.Fatal(err)
	}
	defer refused.Close()
	_ = refused.SetReadDeadline(time.Now().Add(patience))
	if _, err := refused.Read(make([]byte, 1)); err != io.EOF && !strings.Contains(err.Error(), "reset") {
		t.Errorf("one too many: %v, want to be turned away", err)
	}
	until(t, "word of it", func() bool { return strings.Contains(tells.of("tcp"), "64") })
	all[7].Close()
	late, err := net.Dial("tcp", cfg.TCP)
	if err != nil {
		t.Fatal(err)
	}
	defer late.Close()
	until(t, "being let in", func() bool { return tells.of("tcp") == "" })
	s.Bytes(lines(0, 1))
	if got := readN(t, late, len(lines(0, 1))); string(got) != string(lines(0, 1)) {
		t.Errorf("got %q", got)
	}
}

// TestWaitsForTheAddress: an address in use is tried again, and said once.
func TestWaitsForTheAddress(t *testing.T) {
	t.Parallel() // it waits more than it works
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, tells := begin(t, Config{TCP: l.Addr().String()})
	until(t, "the problem", func() bool { return strings.Contains(tells.of("tcp"), "in use") })
	l.Close()
	until(t, "its end", func() bool { return tells.of("tcp") == "" })
}

// TestPTY: a new reader gets nothing old, in raw mode whatever the last one did;
// the name is taken away at the end.
func TestPTY(t *testing.T) {
	link := filepath.Join(t.TempDir(), "receiver")
	if err := os.Symlink("/dev/pts/9999", link); err != nil { // of a killed process
		t.Fatal(err)
	}
	term, err := openTerminal(link)
	if err != nil {
		t.Skipf("no pty here: %v", err)
	}
	open := func() *os.File {
		t.Helper()
		fd, err := unix.Open(link, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
		if err != nil {
			t.Fatal(err)
		}
		f := os.NewFile(uintptr(fd), link)
		t.Cleanup(func() { f.Close() })
		return f
	}
	give := func(p []byte) int64 {
		t.Helper()
		lost, err := term.deliver(p)
		if err != nil {
			t.Fatal(err)
		}
		return lost
	}
	fi, err := os.Stat(link)
	if err != nil {
		t.Fatal(err)
	}
	if st := fi.Sys().(*syscall.Stat_t); fi.Mode().Perm() != 0o660 || int(st.Gid) != group() {
		t.Errorf("mode %v, group %d: want 0660 and group %d", fi.Mode(), st.Gid, group())
	}
	give(lines(0, 3))
	f := open()
	if _, err := f.WriteString("$PUBX,a program's command\r\n"); err != nil {
		t.Fatal(err)
	}
	give(lines(3, 1))
	if got := readN(t, f, len(lines(3, 1))); string(got) != string(lines(3, 1)) {
		t.Errorf("first reader got %q", got)
	}
	lost := int64(0)
	for range 1000 {
		lost += give(lines(4, 1))
	}
	if lost == 0 || term.readers() != 1 {
		t.Errorf("a reader that does not read: %d lost, %d readers", lost, term.readers())
	}
	cooked, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	cooked.Lflag |= unix.ECHO | unix.ICANON
	if err := unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, cooked); err != nil {
		t.Fatal(err)
	}
	f.Close()
	give(lines(5, 1))
	g := open()
	give(lines(6, 1))
	if got := readN(t, g, len(lines(6, 1))); string(got) != string(lines(6, 1)) {
		t.Errorf("second reader got %q", got)
	}
	if tio, err := unix.IoctlGetTermios(int(g.Fd()), unix.TCGETS); err != nil || tio.Lflag != 0 {
		t.Errorf("the first reader's settings last: %+v, %v", tio, err)
	}
	term.close()
	if _, err := os.Lstat(link); !os.IsNotExist(err) {
		t.Errorf("the name is still there: %v", err)
	}
}

// TestPTYPlace: what is not ours is not replaced.
func TestPTYPlace(t *testing.T) {
	file := filepath.Join(t.TempDir(), "receiver")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "receiver")
	if err := os.Symlink("/dev/ttyACM0", other); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{file, other, "/nonexistent/receiver"} {
		term, err := openTerminal(path)
		if err == nil {
			term.close()
			t.Errorf("%s was replaced", path)
		}
	}
}

// TestUDPUnheard: that nobody listens, or that no network is there, ends nothing.
func TestUDPUnheard(t *testing.T) {
	c, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := c.LocalAddr().String()
	c.Close()
	d, err := openUDP(addr)
	if err != nil {
		t.Fatal(err)
	}
	defer d.close()
	for range 3 {
		if lost, err := d.deliver(lines(0, 2)); lost != 0 || err != nil {
			t.Errorf("lost %d, %v", lost, err)
		}
		time.Sleep(5 * time.Millisecond)
	}
	for _, bad := range []string{"camp:10110", ":10110", "127.0.0.1"} {
		if d, err := openUDP(bad); err == nil {
			d.close()
			t.Errorf("%s was taken", bad)
		}
	}
}
