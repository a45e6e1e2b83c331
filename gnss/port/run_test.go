package port

import (
	"context"
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

func TestBadConfig(t *testing.T) {
	for _, c := range []struct {
		cfg  Config
		want string
	}{
		{Config{Device: "http://127.0.0.1:80"}, "unknown scheme http"},
		{Config{Device: "tcp://127.0.0.1"}, "port must be"},
		{Config{Device: "tcp://127.0.0.1:0"}, "port must be"},
		{Config{Device: "tcp://:10110"}, "host is missing"},
		{Config{Device: "udp://:70000"}, "port must be"},
		{Config{Device: "tcp://127.0.0.1:1/path"}, "only host and port"},
		{Config{Device: "tcp://[::1"}, "not an address"},
		{Config{Device: "auto", Baud: -1}, "baud -1"},
		{Config{Device: "auto", Baud: 96}, "baud 96"},
	} {
		err := Run(t.Context(), c.cfg, raw, func(Event) {})
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "port: ") {
			t.Errorf("%+v: %v, want …%s…", c.cfg, err, c.want)
		}
	}
}

// TestUnplugAndReplug: the device appears later, is read, is unplugged, and
// comes back as another pty under the same name, three times.
func TestUnplugAndReplug(t *testing.T) {
	t.Parallel() // it waits more than it works
	name := filepath.Join(t.TempDir(), "receiver")
	l := start(t, Config{Device: name}, nil)
	l.until(t, "waiting", func() bool { return l.kinds() == "waiting" })
	want := "waiting"
	for i := range 3 {
		master, slave := newPTY(t)
		if err := os.Symlink(slave, name); err != nil {
			t.Fatal(err)
		}
		want += " opened"
		l.until(t, want, func() bool { return l.kinds() == want })
		before := len(l.data())
		two := sentence(rmcBody) + sentence(rmcBody)
		write(t, master, two)
		want += " heard"
		l.until(t, want, func() bool { return l.kinds() == want && l.data()[before:] == two })
		os.Remove(name)
		master.Close()
		want += " lost waiting"
		l.until(t, want, func() bool { return l.kinds() == want })
		if i == 0 {
			for _, ev := range l.events() {
				if ev.Kind == Heard && ev.Identity != (Identity{Name: name}) {
					t.Errorf("identity %+v", ev.Identity)
				}
			}
		}
	}
}

// TestStamps feeds bursts byte by byte, as a slow line does, and checks First,
// Quiet, Stale and the accuracy of At against the writer's own clock.
func TestStamps(t *testing.T) {
	master, slave := newPTY(t)
	l := start(t, Config{Device: slave}, nil)
	l.until(t, "opened", func() bool { return l.kinds() == "opened" })
	write(t, master, "at once: stale\r\n")
	time.Sleep(300 * time.Millisecond)
	var sent []int64
	for range 4 {
		sent = append(sent, int64(raw()))
		for _, b := range sentence(rmcBody) {
			write(t, master, string(b))
			time.Sleep(time.Millisecond)
		}
		time.Sleep(200 * time.Millisecond)
	}
	all := strings.Repeat(sentence(rmcBody), 4)
	l.until(t, "all data", func() bool { return strings.HasSuffix(l.data(), all) })
	var firsts []Event
	reads := 0
	for _, ev := range l.events() {
		if ev.Kind != Data {
			continue
		}
		reads++
		if stale := reads == 1; ev.Stale != stale || stale && ev.First {
			t.Errorf("read %d: stale %v, first %v", reads, ev.Stale, ev.First)
		}
		if ev.First != (ev.Quiet >= quietFor) {
			t.Errorf("first %v after %v", ev.First, ev.Quiet)
		}
		if ev.First {
			firsts = append(firsts, ev)
		}
	}
	if len(firsts) != len(sent) {
		t.Fatalf("%d bursts seen, %d sent:\n%v", len(firsts), len(sent), l)
	}
	best := time.Hour
	for i, ev := range firsts {
		late := time.Duration(int64(ev.At) - sent[i])
		best = min(best, late)
		if late < 0 {
			t.Errorf("burst %d stamped %v before it was sent", i, -late)
		}
	}
	// A busy machine may be late, but not with all four: a stamp taken after a
	// rest would be late by restShort at least. (An idle one: under 1 ms.)
	if best > restShort*3/4 {
		t.Errorf("the best stamp is %v late: taken after a rest?", best)
	}
	if reads > 40 {
		t.Errorf("%d reads for %d bytes", reads, len(all))
	}
}

// TestNothingWritten: the receiver's side sees not one byte, whatever happens.
func TestNothingWritten(t *testing.T) {
	master, slave := newPTY(t)
	l := start(t, Config{Device: slave}, nil)
	l.until(t, "opened", func() bool { return l.kinds() == "opened" })
	write(t, master, strings.Repeat("garbage\xff\r\n", 300)+sentence(rmcBody))
	l.until(t, "data", func() bool { return strings.HasSuffix(l.data(), sentence(rmcBody)) })
	fds := []unix.PollFd{{Fd: int32(master.Fd()), Events: unix.POLLIN}}
	if n, err := unix.Poll(fds, 50); n != 0 || err != nil {
		t.Errorf("bytes came out of the port (%d %v)", n, err)
	}
}

func TestPlainFile(t *testing.T) {
	name := filepath.Join(t.TempDir(), "capture.nmea")
	text := strings.Repeat(sentence(rmcBody), 500)
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	l := &log{}
	if err := Run(t.Context(), Config{Device: name}, raw, l.sink); err != io.EOF {
		t.Fatalf("ended with %v, want io.EOF", err)
	}
	if l.data() != text || l.kinds() != "opened heard lost" {
		t.Errorf("%d of %d bytes; %s", len(l.data()), len(text), l.kinds())
	}
	for _, ev := range l.events() {
		if ev.Kind == Data && (!ev.Stale || ev.First) {
			t.Fatal("the bytes of a file claim a time")
		}
	}
}

func TestTCP(t *testing.T) {
	srv, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := srv.Addr().String()
	srv.Close()
	l := start(t, Config{Device: "tcp://" + addr}, func(r *runner) {
		r.back = func(int) time.Duration { return 20 * time.Millisecond }
	})
	l.until(t, "waiting", func() bool { return l.kinds() == "waiting" }) // said once, tried often
	time.Sleep(100 * time.Millisecond)
	if srv, err = net.Listen("tcp", addr); err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	want := "waiting"
	for range 3 {
		c, err := srv.Accept()
		if err != nil {
			t.Fatal(err)
		}
		write(t, c, sentence(rmcBody)+sentence(rmcBody))
		want += " opened heard"
		l.until(t, want, func() bool { return l.kinds() == want })
		c.Close()
		want += " lost"
		l.until(t, want, func() bool { return strings.HasPrefix(l.kinds(), want) })
	}
}

func TestUDP(t *testing.T) {
	probe, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := probe.LocalAddr().String()
	probe.Close()
	l := start(t, Config{Device: "udp://" + addr}, nil)
	l.until(t, "opened", func() bool { return l.kinds() == "opened" })
	for i := range 2 { // two senders, one after the other, and an empty datagram
		c, err := net.Dial("udp", addr)
		if err != nil {
			t.Fatal(err)
		}
		write(t, c, "")
		write(t, c, sentence(rmcBody))
		c.Close()
		l.until(t, "data", func() bool { return l.data() == strings.Repeat(sentence(rmcBody), i+1) })
	}
	if l.kinds() != "opened heard" {
		t.Error(l.kinds())
	}
}

// fakeSource is a port with a speed, for what a pty has not: garbage unless
// the speed is right. It counts what is done to it.
type fakeSource struct {
	right, baud int
	speeds      []int
	closed      chan struct{}
	sent        bool
}

func (s *fakeSource) read(p []byte, wait time.Duration) (int, error) {
	if s.sent = !s.sent; !s.sent || wait == 0 {
		time.Sleep(min(wait, 200*time.Millisecond))
		return 0, nil
	}
	text := strings.Repeat(sentence(rmcBody), 4)
	if s.baud != s.right {
		text = strings.Repeat("\xfe\x80\x00", 100)
	}
	return copy(p, text), nil
}
func (s *fakeSource) rest(d time.Duration) { time.Sleep(d) }
func (s *fakeSource) setBaud(b int) error  { s.baud = b; s.speeds = append(s.speeds, b); return nil }
func (s *fakeSource) stop()                {}
func (s *fakeSource) Close() error         { close(s.closed); return nil }
func (s *fakeSource) traits() traits       { return traits{speed: true, rest: true} }

// TestSpeedByListening: the port is opened once, stepped to the right speed,
// and the noise on the way is not passed on.
func TestSpeedByListening(t *testing.T) {
	t.Parallel() // it waits more than it works
	s := &fakeSource{right: 38400, closed: make(chan struct{})}
	opens := 0
	l := start(t, Config{Device: filepath.Join(t.TempDir(), "x")}, func(r *runner) {
		r.open = func(_ context.Context, _ target, baud int) (source, error) {
			opens++
			s.baud = baud
			return s, nil
		}
	})
	l.until(t, "heard", func() bool { return l.kinds() == "opened heard" && len(l.data()) > 0 })
	if strings.Contains(l.data(), "\xfe") {
		t.Error("noise was passed on")
	}
	for _, ev := range l.events() {
		if ev.Kind == Heard && ev.Baud != 38400 {
			t.Errorf("heard at %d", ev.Baud)
		}
	}
	if opens != 1 || len(s.speeds) != 2 || s.speeds[0] != 4800 || s.speeds[1] != 38400 {
		t.Errorf("opened %d times, speeds %v", opens, s.speeds)
	}
}

// TestAutoOpensOnlyReceivers runs auto over a fake machine with every kind of
// port, and checks which paths reach open, in which order.
func TestAutoOpensOnlyReceivers(t *testing.T) {
	var tried []string
	sys, dev := t.TempDir(), t.TempDir()
	usbPort(t, sys, "ttyUSB0", "1-1.1", "ftdi_sio", "0403", "6001", "A9X0Q2ZT")
	usbPort(t, sys, "ttyACM0", "1-1.2", "cdc_acm", "1546", "1102", "")
	opens := make(chan string, 100)
	l := start(t, Config{}, func(r *runner) {
		r.sysfs, r.dev = sys, dev
		r.open = func(_ context.Context, t target, _ int) (source, error) {
			opens <- filepath.Base(t.addr)
			return nil, syscall.EACCES
		}
	})
	l.until(t, "waiting", func() bool { return l.kinds() == "waiting" })
	ev := l.events()[0]
	if !strings.Contains(ev.Reason, "is not opened") || !strings.Contains(ev.Reason, "could key the transmitter") {
		t.Errorf("reason %q", ev.Reason)
	}
	usbPort(t, sys, "ttyACM1", "1-1.3", "cdc_acm", "1546", "01a8", "")
	tried = append(tried, <-opens)
	l.until(t, "refused", func() bool { return l.kinds() == "waiting refused" })
	if tried[0] != "ttyACM1" || len(opens) != 0 {
		t.Errorf("opened %v and %d more", tried, len(opens))
	}
}

func TestAutoOrder(t *testing.T) {
	sys, dev := t.TempDir(), t.TempDir()
	usbPort(t, sys, "ttyACM0", "1-1.1", "cdc_acm", "1546", "01a8", "")
	usbPort(t, sys, "ttyACM1", "1-1.2", "cdc_acm", "1546", "01a7", "")
	tree(t, dev, map[string]string{"ttyACM0": "", "ttyACM1": ""})
	r, err := newRunner(Config{}, raw, func(Event) {})
	if err != nil {
		t.Fatal(err)
	}
	r.sysfs, r.dev = sys, dev
	check := func(what, want string) {
		t.Helper()
		if got, _, p := r.choose(); p != nil || filepath.Base(got.addr) != want {
			t.Errorf("%s: chose %s (%v), want %s", what, got.addr, p, want)
		}
	}
	check("nothing known", "ttyACM0")
	r.pin = Identity{Name: "/dev/ttyACM7", VID: "1546", PID: "01a7", Part: "1.0"}
	check("the one heard before", "ttyACM1")
	if !r.another(filepath.Join(dev, "ttyACM1")) {
		t.Error("no other receiver")
	}
	check("the one not yet silent", "ttyACM0")
	if r.another(filepath.Join(dev, "ttyACM0")) {
		t.Error("silent receivers are opened in turn for ever")
	}
	check("all silent", "ttyACM1")
	tree(t, dev, map[string]string{"noonmark-receiver": "->ttyACM0"})
	clear(r.tried)
	check("a name given on purpose", "noonmark-receiver")
}

// TestAnotherDeviceUnderTheName: pinned in this run, and pinned by the caller.
func TestAnotherDeviceUnderTheName(t *testing.T) {
	sys, dev := t.TempDir(), t.TempDir()
	usbPort(t, sys, "ttyUSB0", "1-1.1", "cp210x", "10c4", "ea60", "0001")
	tree(t, dev, map[string]string{"ttyUSB0": ""})
	path := filepath.Join(dev, "ttyUSB0")
	for _, pinned := range []bool{false, true} {
		opens := 0
		unplug := make(chan bool, 1)
		cfg := Config{Device: path}
		if pinned {
			cfg.Pinned = Identity{Name: path, VID: "10c4", PID: "ea60", Serial: "0001", Socket: "1-1.4", Part: "1.0"}
		}
		l := start(t, cfg, func(r *runner) {
			r.sysfs, r.dev = sys, dev
			r.back = func(int) time.Duration { return time.Millisecond }
			r.open = func(context.Context, target, int) (source, error) {
				opens++
				return &onceSource{unplug: unplug}, nil
			}
		})
		if !pinned {
			l.until(t, "heard", func() bool { return l.kinds() == "opened heard" })
			// The radio's cable, same chip and serial, takes the name.
			os.RemoveAll(filepath.Join(sys, "devices"))
			os.RemoveAll(filepath.Join(sys, "class"))
			usbPort(t, sys, "ttyUSB0", "1-1.2", "cp210x", "10c4", "ea60", "0001")
			unplug <- true
		}
		l.until(t, "refused", func() bool { return strings.HasSuffix(l.kinds(), "refused") })
		all := l.events()
		if why := all[len(all)-1].Reason; !strings.Contains(why, "could key a transmitter") || !strings.Contains(why, "1-1.2") {
			t.Errorf("reason %q", why)
		}
		if want := map[bool]int{false: 1, true: 0}[pinned]; opens != want {
			t.Errorf("pinned %v: opened %d times, want %d", pinned, opens, want)
		}
	}
}

// onceSource delivers two sentences, then waits to be unplugged.
type onceSource struct {
	done   bool
	unplug chan bool
}

func (s *onceSource) read(p []byte, wait time.Duration) (int, error) {
	if !s.done {
		s.done = true
		return copy(p, sentence(rmcBody)+sentence(rmcBody)), nil
	}
	select {
	case <-s.unplug:
		return 0, syscall.EIO
	case <-time.After(min(wait, 10*time.Millisecond)):
		return 0, nil
	}
}
func (s *onceSource) rest(d time.Duration) { time.Sleep(d) }
func (s *onceSource) setBaud(int) error    { return nil }
func (s *onceSource) stop()                {}
func (s *onceSource) Close() error         { return nil }
func (s *onceSource) traits() traits       { return traits{speed: true, rest: true} }

// TestFailingPortIsOpenedRarely: each opening raises the lines.
func TestFailingPortIsOpenedRarely(t *testing.T) {
	waits := make(chan int, 100)
	opens := make(chan bool, 100)
	l := start(t, Config{Device: filepath.Join(t.TempDir(), "x")}, func(r *runner) {
		r.back = func(fails int) time.Duration {
			waits <- fails
			if fails == 7 {
				return time.Hour
			}
			return time.Millisecond
		}
		r.open = func(context.Context, target, int) (source, error) {
			opens <- true
			return &onceSource{done: true, unplug: closed()}, nil
		}
	})
	for want := range 8 {
		if got := <-waits; got != want {
			t.Errorf("after failure %d the wait is that of %d", want, got)
		}
	}
	l.until(t, "eight losses", func() bool { return strings.Count(l.kinds(), "lost") == 8 })
	if n := strings.Count(l.kinds(), "lost"); n != 8 || len(opens) != 8 {
		t.Errorf("%d opens, %d losses, want 8", len(opens), n)
	}
	if backOff(0) != time.Second || backOff(3) != 8*time.Second || backOff(100) != time.Minute {
		t.Errorf("back-off %v %v %v", backOff(0), backOff(3), backOff(100))
	}
}

func closed() chan bool {
	c := make(chan bool)
	close(c)
	return c
}
