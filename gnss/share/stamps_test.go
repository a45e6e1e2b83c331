package share

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.uber.org/goleak"
	"golang.org/x/sys/unix"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss/port"
)

// The test binary, started again, stands in for the service: the same port, the
// same sink, one processor for Go. It prints when each burst's first bytes came.
func TestMain(m *testing.M) {
	if path := os.Getenv("SHARE_TEST_READER"); path != "" {
		reader(path, os.Getenv("SHARE_TEST_TCP"))
		return
	}
	goleak.VerifyTestMain(m)
}

func local() timescale.Local {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC_RAW, &ts); err != nil {
		panic(err)
	}
	return timescale.Local(ts.Nano())
}

// flood is how many bursts fill the sockets of the clients that are stuck.
const flood = 300

const period = 150 * time.Millisecond // between bursts

func reader(path, tcp string) {
	runtime.GOMAXPROCS(1)
	s := New(Config{TCP: tcp})
	if tcp != "" {
		go s.Run(context.Background(), func(string, string) {})
		go func() {
			for s.Counts().Readers < 50 {
				time.Sleep(10 * time.Millisecond)
			}
			for range flood {
				s.Bytes(lines(0, 4))
				time.Sleep(5 * time.Millisecond)
			}
			fmt.Println("flooded")
		}()
	}
	events := make(chan port.Event, 64)
	go func() {
		err := port.Run(context.Background(), port.Config{Device: path, Prompt: tcp != ""}, local, func(ev port.Event) {
			if tcp != "" && ev.Kind == port.Data {
				s.Bytes(ev.Data)
			}
			ev.Data = append([]byte(nil), ev.Data...)
			events <- ev
		})
		fmt.Println("ended", err)
	}()
	for ev := range events {
		switch {
		case ev.First:
			fmt.Println("first", int64(ev.At))
		case ev.Kind == port.Opened:
			fmt.Println("opened")
		case ev.Kind == port.Lost:
			c := s.Counts()
			fmt.Println("counts", c.Readers, c.Lines, c.Lost)
			return
		}
	}
}

// fed is one reader process and the pty it reads.
type fed struct {
	master *os.File
	lines  *bufio.Scanner
	stop   func()
}

func startReader(t *testing.T, tcp string) *fed {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pty here: %v", err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	// What else runs here is not the question: where we may, the readers go first.
	cmd := exec.Command(self)
	if exec.Command("chrt", "-f", "10", "true").Run() == nil {
		cmd = exec.Command("chrt", "-f", "10", self)
	}
	cmd.Env = append(os.Environ(), "SHARE_TEST_READER="+slave.Name(), "SHARE_TEST_TCP="+tcp)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	f := &fed{master: master, lines: bufio.NewScanner(out)}
	f.stop = func() { slave.Close(); master.Close() }
	t.Cleanup(func() { f.stop(); cmd.Process.Kill(); cmd.Wait() })
	if !f.lines.Scan() || f.lines.Text() != "opened" {
		t.Fatalf("reader said %q", f.lines.Text())
	}
	return f
}

// late returns how long after each sending the burst was stamped, sorted.
func (f *fed) late(sent []timescale.Local) (late []time.Duration, counts string) {
	i := 0
	for f.lines.Scan() {
		var at timescale.Local
		if n, _ := fmt.Sscanf(f.lines.Text(), "first %d", &at); n != 1 {
			counts = f.lines.Text()
			continue
		}
		for i+1 < len(sent) && sent[i+1] <= at {
			i++
		}
		// Later than that it is the next burst, whose sending did not count.
		if i < len(sent) && sent[i] <= at && at.Sub(sent[i]) < period {
			late = append(late, at.Sub(sent[i]))
			i++
		}
	}
	slices.Sort(late)
	return late, counts
}

// TestStampsOfSharing is the figure: two readers are fed side by side, in turn,
// one shares with 50 clients of which 10 are stuck, the other with nobody. The
// stamps of bursts must not be later by more than 1 ms at the 99th percentile.
// Where the one that shares nothing is itself later than that, the machine is too
// busy to tell; where half its stamps are, nothing can be told at all. It has three
// tries, and two must say the same.
func TestStampsOfSharing(t *testing.T) {
	if testing.Short() {
		t.Skip("takes 30 s")
	}
	missed := 0
	for range 3 {
		alone, shared := stampsOnce(t)
		p := func(d []time.Duration, q float64) time.Duration { return d[int(q*float64(len(d)-1))] }
		t.Logf("%d and %d bursts; alone: median %v, 99 %% %v; shared with 50, 10 stuck: median %v, 99 %% %v",
			len(alone), len(shared), p(alone, 0.5), p(alone, 0.99), p(shared, 0.5), p(shared, 0.99))
		// A burst is left out where this test itself was held up, so few say nothing: a busy
		// machine leaves out more of those that 50 clients are fed beside.
		if len(shared) < 20 || len(alone) < 20 {
			continue
		}
		if p(shared, 0.99)-p(alone, 0.99) <= time.Millisecond {
			return
		}
		usable, quiet := p(alone, 0.5) <= time.Millisecond, p(alone, 0.99) <= time.Millisecond
		if quiet || usable && p(shared, 0.5)-p(alone, 0.5) > time.Millisecond {
			missed++
		}
	}
	if missed < 3 {
		t.Skip("this machine is too busy to tell a delay of 1 ms")
	}
	t.Error("sharing delays the stamps of arrival by more than 1 ms at the 99th percentile")
}

func stampsOnce(t *testing.T) (alone, shared []time.Duration) {
	const bursts = 80
	addr := freeTCP(t)
	a, b := startReader(t, ""), startReader(t, addr)
	burst := string(lines(0, 4))
	var got atomic.Int64
	for i := range 50 {
		connect(t, addr, i < 10, &got)
	}
	if !b.lines.Scan() || b.lines.Text() != "flooded" {
		t.Fatalf("reader said %q", b.lines.Text())
	}
	until(t, "the flood to be read", func() bool { return got.Load() == int64(40*flood*len(burst)) })
	var sentA, sentB []timescale.Local
	feed := func(f *fed, sent *[]timescale.Local) {
		before, first := local(), true
		for part := range strings.Lines(burst) {
			write(t, f.master, part)
			if first && local().Sub(before) < 200*time.Microsecond { // else we were held up, not the reader
				*sent = append(*sent, before)
			}
			first = false
			time.Sleep(5 * time.Millisecond)
		}
	}
	for range bursts {
		begin := time.Now()
		feed(a, &sentA)
		time.Sleep(time.Until(begin.Add(period / 2)))
		feed(b, &sentB)
		time.Sleep(time.Until(begin.Add(period)))
	}
	time.Sleep(300 * time.Millisecond)
	a.stop()
	b.stop()
	alone, _ = a.late(sentA)
	shared, counts := b.late(sentB)
	if len(alone) == 0 || len(shared) == 0 {
		t.Fatalf("%d and %d of %d bursts were stamped", len(alone), len(shared), bursts)
	}
	var readers, n, lost int
	if _, err := fmt.Sscanf(counts, "counts %d %d %d", &readers, &n, &lost); err != nil || readers != 50 || lost == 0 {
		t.Errorf("%q: want 50 readers, of which some lost lines", counts)
	}
	want := int64(40 * (bursts + flood) * len(burst))
	for end := time.Now().Add(patience); got.Load() < want && time.Now().Before(end); {
		time.Sleep(10 * time.Millisecond)
	}
	if got.Load() != want {
		t.Errorf("the 40 clients got %d bytes, want %d (%s)", got.Load(), want, counts)
	}
	return alone, shared
}

func write(t *testing.T, f *os.File, s string) {
	t.Helper()
	if _, err := f.WriteString(s); err != nil {
		t.Fatal(err)
	}
}

// connect makes a client; a stuck one never reads, with the least buffer there is.
func connect(t *testing.T, addr string, stuck bool, got *atomic.Int64) {
	t.Helper()
	var c net.Conn
	until(t, "a connection", func() (ok bool) {
		var err error
		c, err = net.Dial("tcp", addr)
		return err == nil
	})
	t.Cleanup(func() { c.Close() })
	if stuck {
		_ = c.(*net.TCPConn).SetReadBuffer(1)
		return
	}
	go func() {
		buf := make([]byte, 4096)
		for {
			n, err := c.Read(buf)
			if err != nil {
				return
			}
			got.Add(int64(n))
		}
	}()
}
