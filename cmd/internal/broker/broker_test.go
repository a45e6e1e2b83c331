package broker

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"noonmark/status"
)

// The tests run a real broker, mosquitto, and read with its own client,
// mosquitto_sub (Debian: mosquitto, mosquitto-clients), on loopback.

type mosquitto struct {
	addr, conf string
	cmd        *exec.Cmd
}

// newBroker starts one with further lines of configuration.
func newBroker(t *testing.T, more string) *mosquitto {
	t.Helper()
	for _, name := range []string{"mosquitto", "mosquitto_sub"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skip(name + " is not installed")
		}
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
	m := &mosquitto{addr: l.Addr().String(), conf: filepath.Join(t.TempDir(), "mosquitto.conf")}
	_, port, _ := net.SplitHostPort(m.addr)
	if more == "" {
		more = "allow_anonymous true\n"
	}
	text := fmt.Sprintf("per_listener_settings false\nuser root\nlistener %s 127.0.0.1\n%s", port, more)
	if err := os.WriteFile(m.conf, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	m.start(t)
	t.Cleanup(m.kill)
	return m
}

func (m *mosquitto) start(t *testing.T) {
	t.Helper()
	m.cmd = exec.Command("mosquitto", "-c", m.conf)
	if err := m.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	until(t, "the broker", func() bool {
		c, err := net.Dial("tcp", m.addr)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
}

func (m *mosquitto) kill() {
	m.cmd.Process.Kill()
	m.cmd.Wait()
}

// retained is what a newcomer learns, by topic.
func (m *mosquitto) retained(t *testing.T, args ...string) map[string]string {
	t.Helper()
	host, port, _ := net.SplitHostPort(m.addr)
	out, _ := exec.Command("mosquitto_sub", append([]string{"-h", host, "-p", port, "-t", "noonmark/#", "-v", "-W", "1", "--retained-only"}, args...)...).Output()
	got := map[string]string{}
	for line := range strings.Lines(string(out)) {
		topic, text, _ := strings.Cut(strings.TrimSpace(line), " ")
		got[topic] = text
	}
	return got
}

func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for %s", what)
		}
	}
}

func snapshot(t *testing.T) *status.Snapshot {
	t.Helper()
	b, err := os.ReadFile("../../../status/testdata/example.json")
	if err != nil {
		t.Fatal(err)
	}
	s, err := status.Parse(b)
	if err != nil {
		t.Fatal(err)
	}
	s.Receiver = &status.Receiver{Device: "/dev/x", Identity: "serial 0042"}
	return &s
}

type reasons struct {
	mu  sync.Mutex
	all []string
}

func (r *reasons) said(reason string) { r.mu.Lock(); r.all = append(r.all, reason); r.mu.Unlock() }

func (r *reasons) have(part string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, s := range r.all {
		if s == part || part != "" && strings.Contains(s, part) {
			return true
		}
	}
	return false
}

// run starts a Publisher; stop ends it and waits.
func run(t *testing.T, cfg Config) (p *Publisher, why *reasons, stop func()) {
	t.Helper()
	if cfg.Station == "" {
		cfg.Station = "camp-1"
	}
	if cfg.Every == 0 {
		cfg.Every = 200 * time.Millisecond
	}
	p, why = New(cfg), &reasons{}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx, why.said) }()
	stop = sync.OnceFunc(func() {
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(time.Minute):
			t.Error("the publisher did not end")
		}
	})
	t.Cleanup(stop)
	return p, why, stop
}

// TestRetained: a newcomer learns the last status and whether the station lives;
// no place unless asked for; "no" when the status is stale and when we leave.
func TestRetained(t *testing.T) {
	t.Parallel() // it waits more than it works
	m := newBroker(t, "")
	p, _, stop := run(t, Config{Broker: "mqtt://" + m.addr})
	s := snapshot(t)
	if s.Position == nil {
		t.Fatal("the example has no place to hide")
	}
	if err := p.Put(s, true); err != nil {
		t.Fatal(err)
	}
	until(t, "the retained status", func() bool { return m.retained(t)["noonmark/camp-1/alive"] == "yes" })
	text := m.retained(t)["noonmark/camp-1/status"]
	got, err := status.Parse([]byte(text))
	if err != nil || got.Clock.Basis != s.Clock.Basis || len(got.Modes) != len(s.Modes) {
		t.Fatalf("%q: %v", text, err)
	}
	if got.Position != nil || strings.Contains(text, s.Position.Locator) || strings.Contains(text, "0042") {
		t.Errorf("more than was asked for: %s", text)
	}
	p.Put(nil, false)
	until(t, "alive = no for a stale status", func() bool { return m.retained(t)["noonmark/camp-1/alive"] == "no" })
	if m.retained(t)["noonmark/camp-1/status"] != text {
		t.Error("the last status heard is gone")
	}
	p.Put(s, true)
	until(t, "alive again", func() bool { return m.retained(t)["noonmark/camp-1/alive"] == "yes" })
	stop()
	if got := m.retained(t)["noonmark/camp-1/alive"]; got != "no" {
		t.Errorf("after the end alive is %q", got)
	}
}

// TestPositionIfAskedFor and only then.
func TestPositionIfAskedFor(t *testing.T) {
	s := snapshot(t)
	for _, position := range []bool{false, true} {
		b, err := json.Marshal(Public(s, position))
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(b), s.Position.Locator) != position || strings.Contains(string(b), "lat_deg") != position {
			t.Errorf("position %v: %s", position, b)
		}
	}
	if s.Position == nil || s.Receiver == nil {
		t.Error("the original lost something")
	}
}

// TestBrokerKilledAndRestarted: the broker dies without a word, statuses go on
// without waiting, and it learns the latest when it is back.
func TestBrokerKilledAndRestarted(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	m := newBroker(t, "")
	p, why, _ := run(t, Config{Broker: "mqtt://" + m.addr})
	s := snapshot(t)
	p.Put(s, true)
	until(t, "the first status", func() bool { return m.retained(t)["noonmark/camp-1/alive"] == "yes" })
	m.kill()
	until(t, "word of the loss", func() bool { return why.have("was lost") })
	s.Clock.Basis = status.BasisHoldover
	var longest time.Duration
	for range 2000 {
		begin := time.Now()
		if err := p.Put(s, true); err != nil {
			t.Fatal(err)
		}
		longest = max(longest, time.Since(begin))
		time.Sleep(time.Millisecond)
	}
	t.Logf("longest Put without a broker: %v", longest)
	if longest > 500*time.Millisecond {
		t.Error("a dead broker held the status up")
	}
	until(t, "a reason", func() bool { return why.have("refused") })
	m.start(t)
	until(t, "the status on the new broker", func() bool {
		return strings.Contains(m.retained(t)["noonmark/camp-1/status"], `"holdover"`)
	})
}
