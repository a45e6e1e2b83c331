package share

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// lines makes n different lines, not all of them sentences.
func lines(from, n int) []byte {
	var b bytes.Buffer
	for i := from; i < from+n; i++ {
		fmt.Fprintf(&b, "$GPTXT,01,01,%07d,\x80\xff not only text,%s*00\r\n", i, strings.Repeat("x", i%40))
	}
	return b.Bytes()
}

type said struct {
	mu   sync.Mutex
	text map[string]string
}

func (s *said) tell(outlet, reason string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.text[outlet] = reason
}

func (s *said) of(outlet string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text[outlet]
}

// running starts a Sharer and waits for its outlets.
func begin(t *testing.T, cfg Config) (*Sharer, *said) {
	t.Helper()
	s, tells := New(cfg), &said{text: map[string]string{}}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { s.Run(ctx, tells.tell); close(done) }()
	t.Cleanup(func() { cancel(); <-done })
	return s, tells
}

// patience is how long a test waits for what comes at once on an idle machine.
const patience = time.Minute

func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !ok(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for %s", what)
		}
	}
}

// freeTCP is an address that was free a moment ago.
func freeTCP(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func dial(t *testing.T, s *Sharer, addr string) *net.TCPConn {
	t.Helper()
	before := s.Counts().Readers
	var c net.Conn
	until(t, "a connection", func() (ok bool) {
		var err error
		c, err = net.Dial("tcp", addr)
		return err == nil
	})
	t.Cleanup(func() { c.Close() })
	until(t, "being let in", func() bool { return s.Counts().Readers > before })
	return c.(*net.TCPConn)
}

// feed gives all to s in pieces of odd sizes.
func feed(s *Sharer, all []byte) {
	for i := 1; len(all) > 0; i = i*7%97 + 1 {
		n := min(i, len(all))
		s.Bytes(all[:n])
		all = all[n:]
	}
}

func readN(t *testing.T, r io.Reader, n int) []byte {
	t.Helper()
	buf := make([]byte, n)
	if c, ok := r.(interface{ SetReadDeadline(time.Time) error }); ok {
		_ = c.SetReadDeadline(time.Now().Add(patience))
	}
	k, err := io.ReadFull(r, buf)
	if err != nil {
		t.Fatalf("%d of %d bytes: %v", k, n, err)
	}
	return buf
}

// TestByteForByte: what the receiver said is what every kind of reader gets; a
// capture of a real receiver is fed.
func TestByteForByte(t *testing.T) {
	captures, err := filepath.Glob("../../testdata/nmea/*/*.nmea")
	if err != nil || len(captures) == 0 {
		captures, _ = filepath.Glob("../../testdata/nmea/*/*")
	}
	var all []byte
	for _, f := range captures {
		b, err := os.ReadFile(f)
		if err == nil && len(b) > 10_000 && b[len(b)-1] == '\n' && !strings.HasSuffix(f, ".json") {
			all = b[:bytes.LastIndexByte(b[:10_000], '\n')+1]
			break
		}
	}
	if all == nil {
		t.Fatalf("no capture to feed among %d", len(captures))
	}
	udp, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer udp.Close()
	_ = udp.(*net.UDPConn).SetReadBuffer(1 << 20)
	link := filepath.Join(t.TempDir(), "receiver")
	cfg := Config{TCP: freeTCP(t), UDP: udp.LocalAddr().String(), PTY: link}
	s, tells := begin(t, cfg)
	a, b := dial(t, s, cfg.TCP), dial(t, s, cfg.TCP)
	until(t, "the pty", func() bool { _, err := os.Stat(link); return err == nil || tells.of("pty") != "" })
	if why := tells.of("pty"); why != "" {
		t.Skipf("no pty here: %s", why)
	}
	tty, err := os.OpenFile(link, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer tty.Close()
	feed(s, all)
	for name, r := range map[string]io.Reader{"tcp 1": a, "tcp 2": b, "pty": tty} {
		if got := readN(t, r, len(all)); !bytes.Equal(got, all) {
			t.Errorf("%s: other bytes than were fed", name)
		}
	}
	buf := make([]byte, 2000)
	for i, want := range bytes.SplitAfter(all, []byte{'\n'}) {
		if len(want) == 0 {
			break
		}
		_ = udp.SetReadDeadline(time.Now().Add(patience))
		n, _, err := udp.ReadFrom(buf)
		if err != nil || !bytes.Equal(buf[:n], want) {
			t.Fatalf("datagram %d: %q, %v; want %q", i, buf[:n], err, want)
		}
	}
	until(t, "three readers", func() bool { return s.Counts().Readers == 3 })
	if c := s.Counts(); c.Lost != 0 || c.Lines != int64(bytes.Count(all, []byte{'\n'})) {
		t.Errorf("counts %+v", c)
	}
}

// TestSlowReader: one that does not read loses whole lines, which are counted;
// another loses none.
func TestSlowReader(t *testing.T) {
	t.Parallel() // it waits more than it works
	cfg := Config{TCP: freeTCP(t)}
	s, _ := begin(t, cfg)
	slow, good := dial(t, s, cfg.TCP), dial(t, s, cfg.TCP)
	_ = slow.SetReadBuffer(4096)
	const batch, batches = 50, 250
	got := make(chan []byte)
	var read atomic.Int64
	go func() {
		var all []byte
		buf := make([]byte, 64<<10)
		for bytes.Count(all, []byte{'\n'}) < batch*batches {
			_ = good.SetReadDeadline(time.Now().Add(patience))
			n, err := good.Read(buf)
			all = append(all, buf[:n]...)
			read.Store(int64(len(all)))
			if err != nil {
				break
			}
		}
		got <- all
	}()
	given := int64(0)
	for i := range batches {
		b := lines(i*batch, batch)
		s.Bytes(b)
		given += int64(len(b))
		until(t, "the good one to read", func() bool { return read.Load() == given })
	}
	all := <-got
	if want := lines(0, batch*batches); !bytes.Equal(all, want) {
		t.Errorf("the good reader got %d bytes, want %d", len(all), len(want))
	}
	lost := s.Counts().Lost
	if lost == 0 {
		t.Fatal("the slow reader lost nothing: it was not slow")
	}
	// It reads at last: whole lines, and with the next line those that follow.
	s.Bytes(lines(batch*batches, 1))
	time.Sleep(50 * time.Millisecond)
	slow.CloseWrite()
	var rest []byte
	buf := make([]byte, 64<<10)
	for i := 0; ; i++ {
		_ = slow.SetReadDeadline(time.Now().Add(2 * time.Second))
		n, err := slow.Read(buf)
		rest = append(rest, buf[:n]...)
		if err != nil {
			break
		}
		if i < 50 {
			s.Bytes(lines(batch*batches+1, 1)) // what was begun is finished with the next
		}
	}
	if len(rest) == 0 || rest[len(rest)-1] != '\n' {
		t.Errorf("%d bytes, the last line not finished", len(rest))
	}
	whole := lines(0, batch*batches+2)
	known := map[string]bool{}
	for l := range bytes.Lines(whole) {
		known[string(l)] = true
	}
	for l := range bytes.Lines(rest) {
		if !known[string(l)] {
			t.Fatalf("the slow reader got %q, which is no line", l)
		}
	}
}

// TestStreamLaw: whatever the other side takes at a time, it gets whole lines in
// order, and those given plus those lost are all.
func TestStreamLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var out []byte
		s := stream{write: func(p []byte) (int, error) {
			n := min(len(p), rapid.IntRange(0, 200).Draw(t, "room"))
			out = append(out, p[:n]...)
			return n, nil
		}}
		lost, n := int64(0), 0
		for range rapid.IntRange(0, 20).Draw(t, "batches") {
			k := rapid.IntRange(1, 5).Draw(t, "lines")
			l, err := s.deliver(lines(n, k))
			if err != nil {
				t.Fatal(err)
			}
			lost, n = lost+l, n+k
		}
		out = append(out, s.rest...)
		at := 0
		for l := range bytes.Lines(out) {
			for at < n && !bytes.Equal(l, lines(at, 1)) {
				at++
				lost--
			}
			if at == n {
				t.Fatalf("%q is no line, or out of order", l)
			}
			at++
		}
		if lost -= int64(n - at); lost != 0 {
			t.Fatalf("%d more counted as lost than are missing", lost)
		}
	})
}

// TestBytesNeverWaits: without Run nobody takes the lines, and still nothing is
// held up and memory is bounded.
func TestBytesNeverWaits(t *testing.T) {
	s := New(Config{TCP: "127.0.0.1:1"})
	for range 1000 {
		s.Bytes(lines(0, 50))
		s.Bytes(bytes.Repeat([]byte{0xb5}, 10_000)) // no line end
	}
	if n := len(s.pending) + cap(s.part); n > 2*maxPending {
		t.Errorf("%d bytes held", n)
	}
}

// TestOpened: half a line of a port that was lost is not joined to the next.
func TestOpened(t *testing.T) {
	s := New(Config{})
	s.Bytes([]byte("$GPRMC,1"))
	s.Opened()
	s.Bytes([]byte("$GPGGA\r\n"))
	if got := string(s.take(nil)); got != "$GPGGA\r\n" {
		t.Errorf("got %q", got)
	}
}
