package port

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"noonmark/clockcheck/timescale"
)

// raw is the local timescale of this machine.
func raw() timescale.Local {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC_RAW, &ts); err != nil {
		panic(err)
	}
	return timescale.Local(ts.Nano())
}

// sentence frames a body with its checksum, by the XOR of NMEA 0183.
func sentence(body string) string {
	var sum byte
	for i := 0; i < len(body); i++ {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

const rmcBody = "GPRMC,040506.00,A,2007.80000,S,06729.40000,W,0.0,0.0,030231,,,A"

// log collects events; Data is copied.
type log struct {
	mu  sync.Mutex
	all []Event
}

func (l *log) sink(ev Event) {
	ev.Data = append([]byte(nil), ev.Data...)
	l.mu.Lock()
	l.all = append(l.all, ev)
	l.mu.Unlock()
}

func (l *log) events() []Event {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]Event(nil), l.all...)
}

func (l *log) data() string {
	var b strings.Builder
	for _, ev := range l.events() {
		b.Write(ev.Data)
	}
	return b.String()
}

// kinds is the history without Data, as words.
func (l *log) kinds() string {
	var out []string
	for _, ev := range l.events() {
		if ev.Kind != Data {
			out = append(out, ev.Kind.String())
		}
	}
	return strings.Join(out, " ")
}

func (l *log) String() string {
	var b strings.Builder
	for _, ev := range l.events() {
		fmt.Fprintf(&b, "%v %d bytes quiet %v first %v stale %v baud %d %s %s\n",
			ev.Kind, len(ev.Data), ev.Quiet, ev.First, ev.Stale, ev.Baud, ev.Path, ev.Reason)
	}
	return b.String()
}

func (l *log) until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("never saw %s; events:\n%v", what, l)
}

// start runs r until the test ends and checks that it then returns nil, soon.
func start(t *testing.T, cfg Config, change func(*runner)) *log {
	t.Helper()
	l := &log{}
	r, err := newRunner(cfg, raw, l.sink)
	if err != nil {
		t.Fatal(err)
	}
	r.sysfs, r.dev = t.TempDir(), t.TempDir()
	if change != nil {
		change(r)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- r.run(ctx) }()
	t.Cleanup(func() {
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("run ended with %v, want nil", err)
			}
		case <-time.After(time.Minute):
			t.Error("run did not end with its context")
		}
	})
	return l
}

// newPTY returns the master and the slave's path. The slave stays open too, as
// ptys hang up when their last user goes.
func newPTY(t *testing.T) (*os.File, string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pty here: %v", err)
	}
	name := slave.Name()
	t.Cleanup(func() { master.Close(); slave.Close() })
	return master, name
}

func write(t *testing.T, f interface{ Write([]byte) (int, error) }, s string) {
	t.Helper()
	if _, err := f.Write([]byte(s)); err != nil {
		t.Fatal(err)
	}
}

// tree makes files below root; a value beginning with "->" is a link.
func tree(t *testing.T, root string, files map[string]string) {
	t.Helper()
	for name, content := range files {
		p := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		var err error
		if to, ok := strings.CutPrefix(content, "->"); ok {
			err = os.Symlink(to, p)
		} else {
			err = os.WriteFile(p, []byte(content+"\n"), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// usbPort adds a USB serial port to a fake sysfs, laid out as Linux does it:
// usb-serial ports have a device of their own below the interface, CDC-ACM
// ports are the interface.
func usbPort(t *testing.T, root, name, socket, driver, vid, pid, serial string) {
	t.Helper()
	dev := "devices/platform/usb/usb1/" + socket
	iface := dev + "/" + socket + ":1.0"
	port, up := iface, "../../../../../.."
	if strings.HasPrefix(name, "ttyUSB") {
		port, up = iface+"/"+name, "../../../../../../.."
	}
	files := map[string]string{
		dev + "/idVendor": vid, dev + "/idProduct": pid, dev + "/product": "a product",
		iface + "/bInterfaceNumber":     "00",
		port + "/driver":                "->" + up + "/bus/drivers/" + driver,
		"class/tty/" + name + "/device": "->../../../" + port,
	}
	if serial != "" {
		files[dev+"/serial"] = serial
	}
	tree(t, root, files)
}
