package service

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/station"
	"noonmark/status"
)

// controlledService is a service without devices that listens in a directory.
func controlledService(t *testing.T) (s *service, dir string) {
	t.Helper()
	dir = t.TempDir()
	ft8, err := clockcheck.ModeNamed("FT8")
	if err != nil {
		t.Fatal(err)
	}
	s = &service{log: slog.New(slog.NewTextHandler(io.Discard, nil)), events: make(chan func()), said: map[string]string{},
		station: station.New(station.Config{Judge: clockcheck.Config{Modes: []clockcheck.Mode{ft8}}, Live: true, LocatorLength: 10,
			Steering: status.SteeringObserving}, clockcheck.Learned{})}
	if s.publish, err = status.NewPublisher(dir, true); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	l := s.openControl(dir)
	if l == nil {
		t.Fatal("no control socket")
	}
	served, owned := make(chan struct{}), make(chan struct{})
	go func() { s.serveControl(ctx, l); close(served) }()
	go func() {
		defer close(owned)
		for {
			select {
			case f := <-s.events:
				f()
			case <-ctx.Done():
				return
			}
		}
	}()
	t.Cleanup(func() { stop(); <-served; <-owned; s.publish.Close() })
	return s, dir
}

// markNow is a mark of what the system clock says now.
func markNow(bound time.Duration) *control.Mark {
	p := hostclock.Sample()
	return &control.Mark{BootID: hostclock.BootID(), LocalNS: p.Local, AsleepS: p.SuspendOffset.Seconds(), UTC: p.System, BoundS: bound.Seconds()}
}

func TestControl(t *testing.T) {
	_, dir := controlledService(t)
	asleep, boot := markNow(time.Second), markNow(time.Second)
	asleep.AsleepS -= 100
	boot.BootID = "another"
	old, wide, unnamed := markNow(time.Second), markNow(time.Hour), markNow(time.Second)
	old.LocalNS -= timescale.Local(2 * time.Hour)
	unnamed.UTC = 0
	oldest := markNow(time.Second) // so old that its age does not fit a duration
	oldest.LocalNS = math.MinInt64
	for _, row := range []struct {
		name string
		r    control.Request
		want string // in the error
	}{
		{"nothing", control.Request{}, `does not do ""`},
		{"unknown", control.Request{Do: "step"}, "does not do"},
		{"a mark without one", control.Request{Do: "mark"}, "does not do"},
		{"the machine slept", control.Request{Do: "mark", Mark: asleep}, "slept"},
		{"the oldest mark there can be", control.Request{Do: "mark", Mark: oldest}, "not of this hour"},
		{"another boot", control.Request{Do: "mark", Mark: boot}, "slept"},
		{"too old", control.Request{Do: "mark", Mark: old}, "not of this hour"},
		{"too wide", control.Request{Do: "mark", Mark: wide}, "bound"},
	} {
		if _, err := control.Tell([]string{dir}, row.r); err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: %v", row.name, err)
		}
	}
	a, err := control.Tell([]string{t.TempDir(), dir}, control.Request{Do: "mark", Mark: unnamed})
	if err != nil || a.Mark == nil || a.Mark.Placed {
		t.Errorf("a minute nobody can name: %+v, %v", a.Mark, err)
	}
	if a, err = control.Tell([]string{dir}, control.Request{Do: "mark", Mark: markNow(250 * time.Millisecond)}); err != nil || !a.Mark.Placed || a.Mark.Says == nil {
		t.Fatalf("%+v, %v", a.Mark, err)
	}
	if e := a.Mark.Says.ErrorS; !e.OK || e.V > 0.01 || e.V < -0.01 || a.Mark.Says.Kind != "operator" {
		t.Errorf("%+v", a.Mark.Says)
	}
	if snap := clitest.Load(filepath.Join(dir, status.FileName)); snap.Clock.Basis != status.BasisOperator {
		t.Errorf("basis %q", snap.Clock.Basis)
	}
	a, err = control.Tell([]string{dir}, control.Request{Do: "withdraw"})
	if err != nil || a.Mark == nil || !strings.Contains(a.Done, "taken back") {
		t.Errorf("taking it back: %+v, %v", a, err)
	}
	if snap := clitest.Load(filepath.Join(dir, status.FileName)); snap.Clock.Basis != status.BasisNone || snap.Mark != nil {
		t.Errorf("without the mark: basis %q, %+v", snap.Clock.Basis, snap.Mark)
	}
	if _, err = control.Tell([]string{dir}, control.Request{Do: "withdraw"}); err == nil || !strings.Contains(err.Error(), "no mark to take back") {
		t.Errorf("taking back a mark that is none: %v", err)
	}
	if fi, err := os.Stat(filepath.Join(dir, control.Name)); err != nil || fi.Mode().Perm() != control.Mode {
		t.Errorf("%v, %v", fi.Mode(), err)
	}
}

func TestNoService(t *testing.T) {
	dir := t.TempDir()
	if _, err := control.Tell([]string{dir}, control.Request{Do: "mark", Mark: markNow(time.Second)}); !errors.Is(err, control.ErrNoService) {
		t.Errorf("%v", err)
	}
	// A socket that a killed service left behind.
	l, err := net.Listen("unix", filepath.Join(dir, control.Name))
	if err != nil {
		t.Fatal(err)
	}
	l.(*net.UnixListener).SetUnlinkOnClose(false)
	l.Close()
	if _, err := control.Tell([]string{dir}, control.Request{Do: "mark", Mark: markNow(time.Second)}); !errors.Is(err, control.ErrNoService) {
		t.Errorf("%v", err)
	}
}

// Connections that say nothing, or too much, or nonsense, do not keep others out.
func TestControlUnderAbuse(t *testing.T) {
	_, dir := controlledService(t)
	path := filepath.Join(dir, control.Name)
	for _, said := range []string{"\n", "{\n", strings.Repeat("x", 3*control.MaxBytes) + "\n", "[1,2]\n", `{"do":"mark","mark":{"local_ns":1e400}}` + "\n"} {
		c, err := net.Dial("unix", path)
		if err != nil {
			t.Fatal(err)
		}
		c.Write([]byte(said))
		c.SetDeadline(time.Now().Add(clitest.Patience))
		if b, _ := io.ReadAll(c); !strings.Contains(string(b), "error") {
			t.Errorf("%.20q: answered %q", said, b)
		}
		c.Close()
	}
	var idle []net.Conn
	for range 3 * control.MaxConns {
		c, err := net.Dial("unix", path)
		if err != nil {
			t.Fatal(err)
		}
		idle = append(idle, c)
	}
	for _, c := range idle {
		c.Close()
	}
	deadline := time.Now().Add(clitest.Patience)
	for {
		_, err := control.Tell([]string{dir}, control.Request{Do: "mark", Mark: markNow(time.Second)})
		if err == nil {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("kept out: %v", err)
		}
		time.Sleep(10 * time.Millisecond)
	}
}
