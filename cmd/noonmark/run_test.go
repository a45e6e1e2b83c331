package main

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/places"
	"noonmark/cmd/internal/rehearsal"
	"noonmark/status"
)

// TestRunOnAPty feeds the real program in real time through good hours and bad.
func TestRunOnAPty(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time for most of a minute")
	}
	t.Parallel()
	f, device := clitest.Feed(t)
	run := t.TempDir()
	cmd := exec.Command(clitest.Binary(t), "run", "--device", device, "--run-dir", run, "--state-dir", t.TempDir(),
		"--rtc", "none", "--allow-disk", "--config", clitest.EmptyFile(t), "--latency-s", "0.15")
	var log strings.Builder
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(run, status.FileName)
	clitest.WaitFor(t, &log, "a first status", func() bool { _, err := os.Stat(path); return err == nil })
	clitest.WaitFor(t, &log, "a judgement by the receiver", func() bool { return clitest.Load(path).Clock.Basis == status.BasisGNSS })
	f.Honest(t, path)
	if s := clitest.Load(path); s.Position == nil || !strings.HasPrefix(s.Position.Locator, "FG69") {
		t.Errorf("position %+v", s.Position)
	}
	grid, err := os.ReadFile(filepath.Join(run, status.GridName))
	if err != nil || !strings.HasPrefix(string(grid), "FG69") || !strings.HasSuffix(string(grid), "\n") {
		t.Errorf("grid file %q, %v", grid, err)
	}
	f.Stage(t, path, 3*time.Second, nil)
	f.Stage(t, path, 8*time.Second, func() { f.Lie.Store(int64(3 * time.Second)) })
	clitest.WaitFor(t, &log, "doubt of a receiver that jumped", func() bool {
		s := clitest.Load(path)
		return len(s.References) > 0 && s.References[0].Trust != status.Trusted
	})
	f.Stage(t, path, 5*time.Second, func() { f.Lie.Store(0); f.Garble.Store(true) })
	f.Stage(t, path, 13*time.Second, func() { f.Garble.Store(false); f.Mute.Store(true) })
	clitest.WaitFor(t, &log, "holdover in silence", func() bool {
		s := clitest.Load(path)
		return s.Clock.Basis == status.BasisHoldover && s.References[0].Trust == status.Silent
	})
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("ended with %v\n%s", err, log.String())
	}
}

// runArgs calls the program's own entry as a shell would.
func runArgs(args ...string) (code int, out, errOut string) {
	var o, e strings.Builder
	code = run(context.Background(), args, strings.NewReader(""), &o, &e)
	return code, o.String(), e.String()
}

func TestCommandsAndExitCodes(t *testing.T) {
	empty := t.TempDir()
	for _, row := range []struct {
		name string
		args string
		code int
		want string // part of what is printed, on either stream
	}{
		{"no such command", "nonsense", exit.Misuse, "noonmark --help"},
		{"stray argument", "version extra", exit.Misuse, "unexpected argument"},
		{"bad locator", "grid FG6X", exit.Misuse, "^"},
		{"odd length", "grid FG69 --length 3", exit.Misuse, "2, 4, 6, 8 or 10"},
		{"no such story", "demo --scenario none", exit.Misuse, "camp"},
		{"missing capture", "replay /nonexistent", exit.Misuse, "no such file"},
		{"bad device", "run --device tcp://", exit.Misuse, "tcp://"},
		{"no status to be ready by", "ready --run-dir " + empty, exit.Cannot, "cannot tell"},
		{"no status, JSON", "ready --json --run-dir " + empty, exit.Cannot, `"answer":"cannot tell"`},
		{"no status to explain", "why --run-dir " + empty, exit.Cannot, "noonmark run"},
		{"no fix", "grid --run-dir " + empty, exit.Cannot, "noonmark run"},
		{"negative place", "grid -20.13,-67.49", exit.OK, "FG69gu18"},
		{"negative place in two", "grid -20.13 -67.49", exit.OK, "FG69gu18"},
		{"negative place, flag behind", "grid -20.13,-67.49 --json", exit.OK, `"locator":"FG69gu18`},
		{"path", "path JN58td -20.13,-67.49", exit.OK, "heading"},
		{"path of negative places", "path -20.13,-67.49 FG69 --json", exit.OK, `"back_heading_deg"`},
		{"version", "version", exit.OK, "built"},
		{"version as a flag", "--version", exit.OK, "built"},
		{"help", "--help", exit.OK, "In distress give coordinates"},
		{"completion", "completion bash", exit.OK, "replay"},
		{"ports", "ports --json", exit.OK, "["},
	} {
		t.Run(row.name, func(t *testing.T) {
			code, out, errOut := runArgs(strings.Fields(row.args)...)
			if code != row.code || !strings.Contains(out+errOut, row.want) {
				t.Errorf("noonmark %s: exit %d, want %d\n%s%s", row.args, code, row.code, out, errOut)
			}
		})
	}
}

// The published example of IO91wm to KP20le (GeodSolve on WGS 84: 1826.617 km,
// azimuth 48.413°) through the command line.
func TestPathAgainstPublishedLine(t *testing.T) {
	_, out, _ := runArgs("path", "--json", "KP20le", "IO91wm")
	var r places.PathReport
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.DistanceM-1826617) > 1 || math.Abs(r.HeadingDeg-48.413) > 0.001 {
		t.Errorf("got %+v", r)
	}
}

func TestSimulationIsNeverTakenForReal(t *testing.T) {
	var out strings.Builder
	if err := rehearsal.Demo(t.Context(), cli.Demo{Scenario: "camp", For: 2 * time.Minute, Seed: 1, Output: cli.Output{JSON: true}}, &out); err != nil {
		t.Fatal(err)
	}
	dec := json.NewDecoder(strings.NewReader(out.String()))
	n := 0
	for {
		var s status.Snapshot
		if err := dec.Decode(&s); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		n++
		now, err := status.ReadNow()
		if err != nil {
			t.Fatal(err)
		}
		if r, err := status.Ready(s, now, nil); err != nil || r.ExitCode() != exit.Cannot {
			t.Errorf("ready on a simulation: %+v, %v", r, err)
		}
	}
	if n != 2 {
		t.Errorf("%d statuses in two minutes", n)
	}
}
