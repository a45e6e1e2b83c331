package main

import (
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"noonmark/cmd/internal/clitest"
)

// onTerminal starts the program on a terminal of its own; what it writes there is read
// until it ends.
type onTerminal struct {
	t    *testing.T
	cmd  *exec.Cmd
	tty  interface{ Write([]byte) (int, error) }
	mu   sync.Mutex
	seen strings.Builder
	done chan struct{}
}

func startOnTerminal(t *testing.T, env []string, args ...string) *onTerminal {
	t.Helper()
	return startOnTerminalOf(t, &pty.Winsize{Rows: 24, Cols: 80}, env, args...)
}

func startOnTerminalOf(t *testing.T, size *pty.Winsize, env []string, args ...string) *onTerminal {
	t.Helper()
	p := &onTerminal{t: t, cmd: exec.Command(clitest.Binary(t), args...), done: make(chan struct{})}
	p.cmd.Env = append(p.cmd.Environ(), env...)
	master, err := pty.StartWithSize(p.cmd, size)
	if err != nil {
		t.Fatal(err)
	}
	p.tty = master
	go func() {
		defer close(p.done)
		b := make([]byte, 4096)
		for {
			n, err := master.Read(b)
			p.mu.Lock()
			p.seen.Write(b[:n])
			p.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	t.Cleanup(func() { p.cmd.Process.Kill(); p.cmd.Wait(); <-p.done; master.Close() })
	return p
}

func (p *onTerminal) shows(text string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Contains(strings.Join(strings.Fields(p.seen.String()), " "), text)
}

func (p *onTerminal) text() string { p.mu.Lock(); defer p.mu.Unlock(); return p.seen.String() }

func (p *onTerminal) await(text string) {
	p.t.Helper()
	for end := time.Now().Add(clitest.Patience); !p.shows(text); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			p.t.Fatalf("%q did not come:\n%s", text, p.text())
		}
	}
}

// A question is no reason to stay: Ctrl-C and the system's request end the program at
// each prompt, of all places before a transmitter may be keyed.
func TestPromptsEnd(t *testing.T) {
	for _, row := range []struct {
		name, args, answer, prompt string
	}{
		{"mark, how", "mark --station WWV", "", "How will you tap?"},
		{"mark, taps", "mark --station WWV", "1\n", "Press Enter on it"},
		{"mark, minute", "mark --station WWV --taps 3", "1\n\n\n\n", "Did your first tap"},
		{"ports", "ports --probe /dev/null", "", "Type yes to open it"},
	} {
		for _, how := range []string{"Ctrl-C", "SIGTERM"} {
			t.Run(row.name+" "+how, func(t *testing.T) {
				t.Parallel()
				p := startOnTerminal(t, []string{"XDG_RUNTIME_DIR=" + t.TempDir()}, strings.Fields(row.args)...)
				for _, line := range strings.SplitAfter(row.answer, "\n") {
					p.tty.Write([]byte(line))
					time.Sleep(50 * time.Millisecond)
				}
				p.await(row.prompt)
				if how == "Ctrl-C" {
					p.tty.Write([]byte{3})
				} else if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
					t.Fatal(err)
				}
				ended := make(chan error, 1)
				go func() { ended <- p.cmd.Wait() }()
				select {
				case err := <-ended:
					if err == nil {
						t.Errorf("success, and nothing was done:\n%s", p.text())
					}
				case <-time.After(clitest.Patience): // an idle machine takes some milliseconds
					t.Errorf("still there:\n%s", p.text())
				}
			})
		}
	}
}

// prepare shows the way on a terminal, and ends at Ctrl-C; in a pipe it says how it stands.
func TestPrepareEnds(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	p := startOnTerminal(t, []string{"XDG_RUNTIME_DIR=" + dir, "HOME=" + dir}, "prepare", "--config", clitest.EmptyFile(t))
	p.await("Ctrl-C ends this view")
	begin := time.Now()
	p.tty.Write([]byte{3})
	if err := p.cmd.Wait(); p.cmd.ProcessState.ExitCode() != 1 {
		t.Errorf("%v after %v\n%s", err, time.Since(begin), p.text())
	}
	if code, out, _ := runArgs("prepare", "--config", clitest.EmptyFile(t), "--run-dir", dir); code != 1 || !strings.Contains(out, "[!] service") {
		t.Errorf("exit %d\n%s", code, out)
	}
}

// Ctrl-C ends what asks or shows within a second. A busy machine may take longer for
// anything at all: so long as a plain child does not end in a second either, it is no
// fault of the program, and it is tried again.
func TestEndsWithinASecond(t *testing.T) {
	empty := clitest.EmptyFile(t)
	for _, row := range []struct{ name, args, shows string }{
		{"mark", "mark --station WWV", "How will you tap?"},
		{"ports", "ports --probe /dev/null", "Type yes to open it"},
		{"prepare", "prepare --config " + empty, "Ctrl-C ends this view"},
		{"prepare, at once", "prepare --config " + empty, "checking, 2 s"},
		{"preflight", "preflight --config " + empty, "checking, 2 s"},
		{"screen", "screen", "q quits"},
	} {
		t.Run(row.name, func(t *testing.T) {
			var took, plain time.Duration
			for range 5 {
				dir := t.TempDir()
				p := startOnTerminal(t, []string{"XDG_RUNTIME_DIR=" + dir, "HOME=" + dir}, strings.Fields(row.args)...)
				p.await(row.shows)
				took = interrupted(p)
				cat := startOnTerminalOf(t, &pty.Winsize{Rows: 24, Cols: 80}, nil, "version", "--json")
				begin := time.Now()
				cat.cmd.Wait()
				if plain = time.Since(begin); took <= time.Second || plain <= time.Second/10 {
					break
				}
			}
			t.Logf("%.3f s", took.Seconds())
			if took > time.Second && plain <= time.Second/10 {
				t.Errorf("ended after %v, while a plain command took %v", took, plain)
			}
		})
	}
}

// interrupted presses Ctrl-C and returns how long p still took.
func interrupted(p *onTerminal) time.Duration {
	p.t.Helper()
	begin := time.Now()
	p.tty.Write([]byte{3})
	ended := make(chan struct{})
	go func() { p.cmd.Wait(); close(ended) }()
	select {
	case <-ended:
	case <-time.After(clitest.Patience):
		p.t.Fatalf("still there:\n%s", p.text())
	}
	return time.Since(begin)
}
