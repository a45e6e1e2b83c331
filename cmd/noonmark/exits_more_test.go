package main

import (
	"encoding/json"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/web"
	"noonmark/status"
)

// exitCode waits until a process has ended.
func exitCode(t *testing.T, cmd *exec.Cmd) int {
	t.Helper()
	done := make(chan struct{})
	go func() { cmd.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(clitest.Patience):
		cmd.Process.Kill()
		t.Fatal("does not end")
	}
	return cmd.ProcessState.ExitCode()
}

// The rows of the table that need more than a command line: a service, a terminal, a
// recording, another program at the socket.
var furtherExits = map[string]func(t *testing.T) int{
	"run 0": func(t *testing.T) int {
		dir := t.TempDir()
		cmd := exec.Command(clitest.Binary(t), "run", "--config", quietSettings(t), "--rtc", "none", "--run-dir", dir, "--state-dir", t.TempDir(), "--allow-disk")
		var log strings.Builder
		cmd.Stderr = &log
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		clitest.WaitFor(t, &log, "a status", func() bool { _, err := os.Stat(filepath.Join(dir, status.FileName)); return err == nil })
		cmd.Process.Signal(syscall.SIGTERM)
		return exitCode(t, cmd)
	},
	"screen 0": func(t *testing.T) int {
		p := startOnTerminal(t, []string{"XDG_RUNTIME_DIR=" + t.TempDir()}, "screen")
		p.await("q quits")
		p.tty.Write([]byte("q"))
		return exitCode(t, p.cmd)
	},
	"screen 1": func(t *testing.T) int { // the other end of the line is gone
		master, tty, err := pty.Open()
		if err != nil {
			t.Fatal(err)
		}
		defer tty.Close()
		cmd := exec.Command(clitest.Binary(t), "screen")
		cmd.Env = append(cmd.Environ(), "XDG_RUNTIME_DIR="+t.TempDir())
		cmd.Stdin, cmd.Stdout = tty, tty
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		master.Read(make([]byte, 1)) // it has begun to draw
		master.Close()
		return exitCode(t, cmd)
	},
	"hear 0": func(t *testing.T) int {
		code, _, _ := runArgs("hear", "--mode", "FT8", "../../testdata/air/busy_03.wav")
		return code
	},
	"pin 0": func(t *testing.T) int {
		dir := t.TempDir()
		keepPublished(t, dir, nil)
		if err := web.ShowNumber(dir, "12345678"); err != nil {
			t.Fatal(err)
		}
		code, out, _ := runArgs("pin", "--run-dir", dir)
		if out != "12345678\n" {
			t.Errorf("got %q", out)
		}
		return code
	},
	"resume 0": func(t *testing.T) int {
		dir := t.TempDir()
		l, err := net.Listen("unix", filepath.Join(dir, control.Name))
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		go func() {
			c, err := l.Accept()
			if err != nil {
				return
			}
			defer c.Close()
			var r control.Request
			if json.NewDecoder(c).Decode(&r) == nil && r.Do == "resume" {
				json.NewEncoder(c).Encode(control.Answer{Done: "Taken back."})
			}
		}()
		code, _, _ := runArgs("resume", "--run-dir", dir)
		return code
	},
	// What this machine lacks decides between 0 and 1: the status says what the JSON says.
	"preflight 0": func(t *testing.T) int { return asItSays(t, "passed", exit.OK, "preflight", "--json") },
	"prepare 0": func(t *testing.T) int {
		return asItSays(t, "ready", exit.OK, "prepare", "--json", "--run-dir", t.TempDir())
	},
	"preflight 1": func(t *testing.T) int {
		bad := filepath.Join(t.TempDir(), "bad.toml")
		if err := os.WriteFile(bad, []byte("nosuch = 1\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		code, _, _ := runArgs("preflight", "--config", bad)
		return code
	},
}

// asItSays runs a command; it returns code if the exit status is the one that belongs to
// the member of its answer.
func asItSays(t *testing.T, member string, code int, args ...string) int {
	got, out, errOut := runArgs(args...)
	var answer map[string]any
	if err := json.Unmarshal([]byte(out), &answer); err != nil {
		t.Fatal(err, errOut)
	}
	if yes, ok := answer[member].(bool); !ok || yes != (got == exit.OK) || got != exit.OK && got != exit.No {
		t.Errorf("%v: exit %d beside %q: %v", args, got, member, answer[member])
	}
	return code
}

// quietSettings are settings without a page and a receiver.
func quietSettings(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "quiet.toml")
	if err := os.WriteFile(path, []byte("[receiver]\ndevice = \"tcp://127.0.0.1:1\"\n[publish]\nhttp = \"\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestFurtherExits runs them.
func TestFurtherExits(t *testing.T) {
	for name, do := range furtherExits {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, want, _ := strings.Cut(name, " ")
			if code := do(t); want != string(rune('0'+code)) {
				t.Errorf("exit %d", code)
			}
		})
	}
}
