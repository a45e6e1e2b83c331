package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/creack/pty"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/inspect"
	"noonmark/cmd/internal/reader"
	"noonmark/status"
)

// keepPublished puts a status of this very machine into a directory and keeps it fresh.
func keepPublished(t *testing.T, dir string, change func(*status.Snapshot)) {
	t.Helper()
	p, err := status.NewPublisher(dir, true)
	if err != nil {
		t.Fatal(err)
	}
	put := func() {
		now, err := status.ReadNow()
		if err != nil {
			t.Error(err)
			return
		}
		k := status.Known
		s := status.Snapshot{Live: true, Written: status.Written{SystemUTC: status.At(now.System), BootID: now.BootID,
			BoottimeS: now.BoottimeS, StaleAfterS: 30, AsleepS: now.AsleepS},
			Clock: status.Clock{Basis: status.BasisGNSS, ErrorS: k(0.02), BoundS: k(0.05), GuardS: k(0.06), Steering: "holding", Because: "By the receiver."},
			Modes: []status.Mode{{Mode: "FT8", PeriodS: 15, ToleranceS: 1, Verdict: status.Within, MarginS: k(0.92), GoodForS: k(9000)}}}
		if change != nil {
			change(&s)
		}
		if err := p.Publish(&s); err != nil {
			t.Error(err)
		}
	}
	put()
	stop, done := make(chan struct{}), sync.WaitGroup{}
	done.Go(func() {
		for {
			select {
			case <-stop:
				return
			case <-time.After(300 * time.Millisecond):
				put()
			}
		}
	})
	t.Cleanup(func() { close(stop); done.Wait(); p.Close() })
}

func TestUntil(t *testing.T) {
	t.Parallel()
	none, good, wide, sim := t.TempDir(), t.TempDir(), t.TempDir(), t.TempDir()
	keepPublished(t, good, nil)
	keepPublished(t, wide, func(s *status.Snapshot) {
		s.Modes[0].Verdict, s.Clock.BoundS, s.Clock.GuardS = status.Borderline, status.Known(2), status.Known(3)
	})
	keepPublished(t, sim, func(s *status.Snapshot) { s.Live = false })
	for _, row := range []struct {
		name, dir, args string
		code            int
		want            string
	}{
		{"bad: nothing published", none, "--limit 1s", exit.No, "NOT reached in 1.0 s"},
		{"bad: not within", wide, "FT8 --limit 600ms", exit.No, "FT8 within"},
		{"bad: simulation", sim, "FT8 --limit 600ms", exit.No, "simulation"},
		{"bad: bound", wide, "--bound 1 --limit 600ms", exit.No, "right to 1 s"},
		{"bad: and what to do", wide, "FT8 --limit 600ms", exit.No, "mark a time signal: noonmark mark"},
		{"bad: nobody there, what to do", none, "--limit 600ms", exit.No, "Start noonmark"},
		{"the bound counts, not the worst case", good, "--bound 0.075", exit.OK, "right to 0.075 s (99 %)"},
		{"bad: bound too small", good, "--bound 0.05 --limit 600ms", exit.No, "right to 0.05 s"},
		{"bad: simulation, bound", sim, "--bound 100 --limit 600ms", exit.No, "NOT reached"},
		{"bad: no limit", good, "--limit 0 --bound 0.01", exit.No, "NOT reached"},
		{"bad: no such mode", good, "FT9 --limit 600ms", exit.Misuse, `no mode is called "FT9"; did you mean "FT4"?`},
		{"bad: a mode that is not shown", good, "FT4 --limit 600ms", exit.Misuse, "FT4 is not shown: add it to show in [modes]"},
		{"bad: a family", good, "JS8 --limit 600ms", exit.Misuse, "a family of modes"},
		{"bad: for ever", good, "--limit 25h", exit.Misuse, "nothing waits for ever"},
		{"bad: no bound", good, "--bound -1", exit.Misuse, "--bound"},
		{"mode", good, "FT8 --limit 1s", exit.OK, "Reached after"},
		{"all", good, "", exit.OK, "every mode that the service shows within"},
		{"bound", good, "--bound 0.1", exit.OK, "right to 0.1 s"},
		{"both", good, "ft8 --bound 0.1", exit.OK, "ft8 within and the clock right to 0.1 s"},
		{"bound though no mode is within", wide, "--bound 5", exit.OK, "right to 5 s"},
	} {
		t.Run(row.name, func(t *testing.T) {
			code, out, errOut := runArgs(append(strings.Fields("until "+row.args), "--run-dir", row.dir)...)
			if all := strings.Join(strings.Fields(out+errOut), " "); code != row.code || !strings.Contains(all, row.want) {
				t.Errorf("exit %d, want %d\n%s", code, row.code, all)
			}
		})
	}
	_, out, _ := runArgs("until", "--json", "--run-dir", good)
	var w reader.Waited
	if err := json.Unmarshal([]byte(out), &w); err != nil || !w.Reached {
		t.Errorf("%s: %v", out, err)
	}
}

// What comes while it waits ends the wait.
func TestUntilSeesItCome(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var right atomic.Bool
	keepPublished(t, dir, func(s *status.Snapshot) {
		if !right.Load() {
			s.Modes[0].Verdict = status.Borderline
		}
	})
	time.AfterFunc(700*time.Millisecond, func() { right.Store(true) })
	var out strings.Builder
	begin := time.Now()
	code, err := reader.Until(context.Background(), cli.Until{Limit: 10 * clitest.Patience, Where: cli.Where{RunDir: dir}}, &out)
	if err != nil || code != exit.OK || time.Since(begin) > clitest.Patience {
		t.Errorf("exit %d, %v after %v: %s", code, err, time.Since(begin), out.String())
	}
}

// The screen on a real pseudo-terminal: it takes it over, shows the verdict, ends at q
// and gives the terminal back.
func TestScreenOnAPty(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	keepPublished(t, dir, nil)
	cmd := exec.Command(clitest.Binary(t), "screen", "--run-dir", dir)
	tty, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 24, Cols: 80})
	if err != nil {
		t.Fatal(err)
	}
	defer tty.Close()
	var mu sync.Mutex
	var seen bytes.Buffer
	go func() {
		b := make([]byte, 4096)
		for {
			n, err := tty.Read(b)
			mu.Lock()
			seen.Write(b[:n])
			mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	has := func(what string) bool { mu.Lock(); defer mu.Unlock(); return strings.Contains(seen.String(), what) }
	await := func(want string) {
		t.Helper()
		for until := time.Now().Add(clitest.Patience); !has(want); time.Sleep(20 * time.Millisecond) {
			if time.Now().After(until) {
				t.Fatalf("no %q", want)
			}
		}
	}
	for _, want := range []string{"\x1b[?1049h", " UTC", "FT8", "q quits"} {
		await(want)
	}
	if _, err := tty.WriteString("q"); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(clitest.Patience):
		cmd.Process.Kill()
		t.Fatal("q does not end it")
	}
	await("\x1b[?1049l") // the terminal is given back
}

func TestScreenNeedsATerminal(t *testing.T) {
	if code, _, errOut := runArgs("screen"); code != exit.Misuse || !strings.Contains(errOut, "no terminal") {
		t.Errorf("exit %d: %s", code, errOut)
	}
	null, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	if err := reader.Screen(t.Context(), cli.Screen{}, null, null); err == nil {
		t.Error("/dev/null was taken for a terminal")
	}
}

// Preflight on whatever machine this is: every check answers, and the exit status is
// that of the answers.
func TestPreflight(t *testing.T) {
	t.Parallel()
	code, out, errOut := runArgs("preflight", "--json")
	var r inspect.PreflightChecks
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatalf("%v: %s%s", err, out, errOut)
	}
	if len(r.Checks) < 8 || r.Passed != (code == exit.OK) || code != exit.OK && code != exit.No {
		t.Errorf("exit %d: %+v", code, r)
	}
	_, out, _ = runArgs("preflight")
	for _, line := range strings.Split(out, "\n") {
		if len([]rune(line)) > 80 {
			t.Errorf("over 80 columns: %q", line)
		}
	}
	bad := t.TempDir() + "/x.toml"
	if err := os.WriteFile(bad, []byte("[clock]\nstear = true\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, out, _ := runArgs("preflight", "--config", bad); code != exit.No || !strings.Contains(strings.Join(strings.Fields(out), " "), "clock.steer") {
		t.Errorf("exit %d: %s", code, out)
	}
}
