// Package clitest helps the tests that run the program itself: it builds the binary,
// feeds it sentences through a pty, and waits for what is published.
package clitest

import (
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/creack/pty"

	"noonmark/status"
)

// built is the program, made once for all tests of a package.
var built struct {
	once sync.Once
	dir  string
	err  error
}

// Run runs the tests of a package whose tests use Binary, and removes what was built:
//
//	func TestMain(m *testing.M) { os.Exit(clitest.Run(m)) }
func Run(m *testing.M) int {
	defer func() { os.RemoveAll(built.dir) }()
	return m.Run()
}

// Get asks for a page: its status and its text.
func Get(t testing.TB, url string) (code int, text string) {
	t.Helper()
	r, err := http.Get(url)
	return Answer(t, r, err)
}

// Answer reads what a server answered.
func Answer(t testing.TB, r *http.Response, err error) (code int, text string) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(b)
}

// Binary is the program's path. The first test that asks builds it.
func Binary(t testing.TB) string {
	t.Helper()
	built.once.Do(func() {
		if built.dir, built.err = os.MkdirTemp("", "noonmark-test-"); built.err != nil {
			return
		}
		out, err := exec.Command("go", "build", "-o", built.dir, "noonmark/cmd/noonmark").CombinedOutput()
		if err != nil {
			built.err = fmt.Errorf("build: %w\n%s", err, out)
		}
	})
	if built.err != nil {
		t.Fatal(built.err)
	}
	return filepath.Join(built.dir, "noonmark")
}

// feeder writes sentences into a pty in real time. It shares no code with the
// program: the sentences are put together here, and the truth is that the
// system clock is right.
type feeder struct {
	master *os.File
	Lie    atomic.Int64 // ns
	Mute   atomic.Bool
	Garble atomic.Bool
	late   atomic.Int64 // ns: the most by which a burst began later than it should
	stop   chan struct{}
}

// Feed starts a feeder and returns the name of the line it writes to.
func Feed(t *testing.T) (f *feeder, device string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	f = &feeder{master: master, stop: make(chan struct{})}
	t.Cleanup(func() { close(f.stop); slave.Close(); master.Close() })
	go f.run()
	return f, slave.Name()
}

const feedLatency = 150 * time.Millisecond

func (f *feeder) run() {
	for n := 0; ; n++ {
		next := time.Now().Truncate(time.Second).Add(time.Second)
		select {
		case <-f.stop:
			return
		case <-time.After(time.Until(next.Add(feedLatency))):
		}
		f.late.Store(max(f.late.Load(), int64(time.Since(next.Add(feedLatency)))))
		said := next.Add(time.Duration(f.Lie.Load())).UTC()
		if f.Mute.Load() {
			continue
		}
		burst := Sentence("GPRMC,"+said.Format("150405.00")+",A,2008.0280,S,06729.3460,W,0.1,0.0,"+said.Format("020106")+",,,A") +
			Sentence("GPGGA,"+said.Format("150405.00")+",2008.0280,S,06729.3460,W,1,09,0.9,3656.0,M,42.0,M,,") +
			Sentence("GPGSA,A,3,02,05,07,09,12,15,21,25,29,,,,1.6,0.9,1.3")
		if f.Garble.Load() {
			b := []byte(burst)
			for i := range b {
				if (i+n)%17 == 0 {
					b[i] ^= 0x55
				}
			}
			burst = string(b)
		}
		for len(burst) > 0 { // 9600 baud: 48 bytes in 50 ms
			k := min(48, len(burst))
			if _, err := f.master.WriteString(burst[:k]); err != nil {
				return
			}
			burst = burst[k:]
			time.Sleep(50 * time.Millisecond)
		}
	}
}

func Sentence(body string) string {
	sum := byte(0)
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

func EmptyFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "empty.toml")
	if err := os.WriteFile(path, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func Load(path string) status.Snapshot {
	found, err := status.Find(filepath.Dir(path))
	if err != nil {
		return status.Snapshot{}
	}
	return found.Status
}

// Patience is how long a test waits for what comes at once on an idle machine.
const Patience = time.Minute

func WaitFor(t *testing.T, log *strings.Builder, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(Patience); !ok(); {
		if time.Now().After(end) {
			t.Fatalf("%s did not come in time\n%s", what, log.String())
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// Stage changes the feed and watches for honesty while it lasts.
func (f *feeder) Stage(t *testing.T, path string, d time.Duration, change func()) {
	t.Helper()
	if change != nil {
		change()
	}
	for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(250 * time.Millisecond) {
		f.Honest(t, path)
	}
}

// Honest fails if the published error ± guard does not hold the truth, which is
// that the system clock is right; what the feeder itself was late is its own lie.
func (f *feeder) Honest(t *testing.T, path string) {
	t.Helper()
	s := Load(path)
	if !s.Clock.ErrorS.OK {
		return
	}
	if s.Clock.GuardS.OK && math.Abs(s.Clock.ErrorS.V) > s.Clock.GuardS.V+time.Duration(f.late.Load()).Seconds() {
		t.Fatalf("error %v ± guard %v does not hold the truth: %s", s.Clock.ErrorS.V, s.Clock.GuardS.V, s.Clock.Because)
	}
}

func FreeUDP(t *testing.T) string {
	t.Helper()
	c, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	return c.LocalAddr().String()
}
