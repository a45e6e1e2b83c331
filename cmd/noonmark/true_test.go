package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/exit"
	"noonmark/status"
)

// Every command that answers works on a running demo, and each answer says that it is
// none about this computer.
func TestRehearsalIsMarked(t *testing.T) {
	user := t.TempDir()
	p := startOnTerminal(t, []string{"XDG_RUNTIME_DIR=" + user, "NO_COLOR=1"}, "demo", "--speed", "120", "--http", "none")
	p.await("UTC place: locator FG69gu17hv")
	t.Setenv("XDG_RUNTIME_DIR", user)
	clitest.WaitFor(t, new(strings.Builder), "a place", func() bool { code, _, _ := runArgs("grid", "--demo"); return code == exit.OK })
	for _, row := range []struct {
		args string
		code int
		want string
	}{
		{"grid --demo", exit.OK, "SIMULATION"},
		{"path FF46 --demo", exit.OK, "SIMULATION"},
		{"report --demo", exit.OK, "EXERCISE"},
		{"why --demo", exit.OK, "SIMULATION"},
		{"why --all --demo", exit.OK, "SIMULATION"},
		{"ready FT8 --demo", exit.Cannot, "SIMULATED  FT8"},
		{"until FT8 --limit 100ms --demo", exit.No, "simulation"},
		{"prepare --once --demo", exit.No, "SIMULATION"},
		{"prepare --json --demo", exit.No, `"live":false`},
		{"grid --json --demo", exit.OK, `"live":false`},
		{"path --json FF46 --demo", exit.OK, `"simulated":true`},
		{"report --json --demo", exit.OK, `"exercise":true`},
		{"why --json --demo", exit.OK, `"live":false`},
		{"ready --json --demo", exit.Cannot, `"simulated":true`},
	} {
		code, out, errOut := runArgs(strings.Fields(row.args)...)
		if code != row.code || !strings.Contains(out, row.want) || strings.Contains(out+errOut, "future") {
			t.Errorf("%s: exit %d, want %d and %q:\n%s%s", row.args, code, row.code, row.want, out, errOut)
		}
		if strings.Contains(out, `"answer":"yes"`) || strings.HasPrefix(out, "Ready: yes") {
			t.Errorf("%s says yes: %s", row.args, out)
		}
	}
	s := startOnTerminal(t, []string{"XDG_RUNTIME_DIR=" + user}, "screen", "--demo")
	s.await("SIMULATION")
}

// Without a demo nothing is read; nothing is taken from a directory of somebody else.
func TestNoRehearsal(t *testing.T) {
	t.Setenv("XDG_RUNTIME_DIR", t.TempDir())
	if code, _, errOut := runArgs("grid", "--demo"); code != exit.Cannot || !strings.Contains(errOut, "noonmark demo") {
		t.Errorf("exit %d: %s", code, errOut)
	}
}

// started is a service with a page and a state directory, fed from a pty.
func started(t *testing.T, state string, more ...string) (cmd *exec.Cmd, run string, log *strings.Builder) {
	t.Helper()
	_, device := clitest.Feed(t)
	run = t.TempDir()
	settings := filepath.Join(t.TempDir(), "spare.toml") // a port of its own for the page
	if err := os.WriteFile(settings, []byte("[publish]\nhttp = \""+fmt.Sprintf("127.0.0.1:%d", freePort(t))+"\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd = exec.Command(clitest.Binary(t), append([]string{"run", "--device", device, "--run-dir", run, "--state-dir", state, "--rtc", "none",
		"--allow-disk", "--config", settings}, more...)...)
	log = new(strings.Builder)
	cmd.Stderr = log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	clitest.WaitFor(t, log, "a first status", func() bool { return clitest.Load(filepath.Join(run, status.FileName)).Schema != "" })
	return cmd, run, log
}

// A service that hangs or was killed is no source of a number, a place or an answer.
func TestFrozenService(t *testing.T) {
	t.Parallel()
	cmd, run, log := started(t, t.TempDir())
	clitest.WaitFor(t, log, "a number", func() bool { code, _, _ := runArgs("pin", "--run-dir", run); return code == exit.OK })
	clitest.WaitFor(t, log, "a place", func() bool { _, err := os.Stat(filepath.Join(run, status.GridName)); return err == nil })
	for _, how := range []syscall.Signal{syscall.SIGSTOP, syscall.SIGKILL} {
		if err := cmd.Process.Signal(how); err != nil {
			t.Fatal(err)
		}
		clitest.WaitFor(t, new(strings.Builder), "an end of the number", func() bool {
			code, out, errOut := runArgs("pin", "--run-dir", run)
			return code == exit.Cannot && out == "" && strings.Contains(errOut, "stopped or hangs")
		})
		for _, args := range []string{"grid", "path FF46", "report", "why", "ready"} {
			if code, out, _ := runArgs(append(strings.Fields(args), "--run-dir", run)...); code != exit.Cannot {
				t.Errorf("%v, %s: exit %d\n%s", how, args, code, out)
			}
		}
	}
	fi, err := os.Stat(filepath.Join(run, status.GridName))
	if err == nil && time.Since(fi.ModTime()) < time.Second {
		t.Error("the file of a service that is gone is still renewed")
	}
}

// What is learned cannot be kept, a command of follow cannot be run: why says both.
func TestProblemsAreSaid(t *testing.T) {
	t.Parallel()
	cmd, run, log := started(t, filepath.Join(clitest.EmptyFile(t), "state"), "--verbose")
	says := func(want string) bool {
		_, out, _ := runArgs("why", "--run-dir", run)
		return strings.Contains(strings.Join(strings.Fields(out), " "), want)
	}
	clitest.WaitFor(t, log, "the first problem", func() bool { return says("cannot be kept") })
	settings := filepath.Join(t.TempDir(), "hooks.toml")
	if err := os.WriteFile(settings, []byte("[events]\nverdict_lost = [\"/nowhere/ring\"]\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	f := exec.Command(clitest.Binary(t), "follow", "--config", settings, "--run-dir", run)
	if err := f.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Process.Kill(); f.Wait(); os.RemoveAll(run + status.BesideSuffix) })
	clitest.WaitFor(t, log, "the second problem", func() bool { return says("The command for verdict-lost cannot be run") })
	clitest.WaitFor(t, log, "both in the status", func() bool { return len(clitest.Load(filepath.Join(run, status.FileName)).Problems) == 2 })
	clitest.WaitFor(t, log, "an epoch", func() bool {
		r := clitest.Load(filepath.Join(run, status.FileName)).Receiver
		return r != nil && r.Epochs > 0
	})
	cmd.Process.Signal(syscall.SIGTERM)
	cmd.Wait() // then nobody writes the log
	if !strings.Contains(log.String(), "epoch") {
		t.Errorf("no epoch in the log of --verbose:\n%s", log)
	}
}

// A full run directory is named, not a dead service.
func TestFullRunDirectory(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=64k,mode=0755"); err != nil {
		t.Skipf("no small file system can be made here: %v", err)
	}
	t.Cleanup(func() { syscall.Unmount(dir, syscall.MNT_DETACH) })
	pub, err := status.NewPublisher(dir, false)
	if err != nil {
		t.Fatal(err)
	}
	s := fresh(t, status.Within)
	s.Written.BoottimeS -= 30
	if err := pub.Publish(s); err != nil {
		t.Fatal(err)
	}
	if _, out, _ := runArgs("ready", "--run-dir", dir); strings.Contains(out, "full") {
		t.Errorf("full, with room: %s", out)
	}
	os.WriteFile(filepath.Join(dir, "x"), make([]byte, 1<<20), 0o600) // as much as goes in
	if _, out, _ := runArgs("ready", "--run-dir", dir); !strings.Contains(strings.Join(strings.Fields(out), " "), "is full") {
		t.Errorf("not named: %s", out)
	}
}

// A file that is no recording fails with one sentence.
func TestReplayOfSomethingElse(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{"notes.txt": "dear diary\n", "empty": "", "track.gpx": "<?xml version=\"1.0\"?>\n<gpx><trk/></gpx>\n"} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		for _, as := range []string{"", "--json"} {
			code, out, errOut := runArgs(strings.Fields("replay " + as + " " + path)...)
			if code != exit.Misuse || out != "" || strings.Count(errOut, "\n") != 1 || !strings.Contains(errOut, name) {
				t.Errorf("%s %s: exit %d\n%s%s", name, as, code, out, errOut)
			}
			if name == "track.gpx" && !strings.Contains(errOut, "noonmark grid --track") {
				t.Errorf("%s: %s", name, errOut)
			}
		}
	}
}
