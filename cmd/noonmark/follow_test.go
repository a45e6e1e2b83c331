package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/exit"
	"noonmark/status"
)

// fresh is a status of now, by the test in place of the service.
func fresh(t *testing.T, verdict string) *status.Snapshot {
	t.Helper()
	now, err := status.ReadNow()
	if err != nil {
		t.Fatal(err)
	}
	return &status.Snapshot{Live: true,
		Written: status.Written{SystemUTC: status.At(now.System), BootID: now.BootID, BoottimeS: now.BoottimeS, StaleAfterS: 3, AsleepS: now.AsleepS},
		Clock: status.Clock{Basis: "gnss", ErrorS: status.Known(0.01), BoundS: status.Known(0.05), GuardS: status.Known(0.1),
			Steering: "observing", Because: "A test says so."},
		Modes: []status.Mode{{Mode: "FT8", PeriodS: 15, ToleranceS: 1, Verdict: verdict, MarginS: status.Known(0.89), GoodForS: status.Known(3600),
			GoodUntilUTC: status.At(now.System + timescale.UTC(3600e9))}},
	}
}

// TestFollow: the built program follows a status as it is published: it runs a
// command when the verdict is lost and when it comes back, also when the service
// falls silent, whatever its broker does; and ends when told.
func TestFollow(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time for some seconds")
	}
	t.Parallel()
	dir := t.TempDir()
	run := filepath.Join(dir, "run")
	pub, err := status.NewPublisher(run, true)
	if err != nil {
		t.Fatal(err)
	}
	defer pub.Close()
	said := filepath.Join(dir, "said")
	beep := filepath.Join(dir, "beep")
	if err := os.WriteFile(beep, []byte("#!/bin/sh\necho \"$NOONMARK_EVENT $NOONMARK_MODE $NOONMARK_IS\" >>"+said+"\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	conf := filepath.Join(dir, "conf.toml")
	text := "[events]\nverdict_lost = ['" + beep + "']\nverdict_regained = ['" + beep + "']\n[mqtt]\nbroker = 'mqtt://127.0.0.1:1'\n"
	if err := os.WriteFile(conf, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(clitest.Binary(t), "follow", "--config", conf, "--run-dir", run)
	log, err := os.Create(filepath.Join(dir, "log"))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	cmd.Stderr = log
	logged := func() string { b, _ := os.ReadFile(log.Name()); return string(b) }
	if err := pub.Publish(fresh(t, status.Within)); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill()
	// stage publishes verdict until the command has said want.
	stage := func(verdict, want string) {
		t.Helper()
		for end := time.Now().Add(clitest.Patience); ; time.Sleep(200 * time.Millisecond) {
			if verdict != "" {
				if err := pub.Publish(fresh(t, verdict)); err != nil {
					t.Fatal(err)
				}
			}
			if b, _ := os.ReadFile(said); string(b) == want {
				return
			} else if time.Now().After(end) {
				t.Fatalf("said %q, want %q", b, want)
			}
		}
	}
	for end := time.Now().Add(clitest.Patience); !strings.Contains(logged(), "msg=following"); time.Sleep(200 * time.Millisecond) {
		if err := pub.Publish(fresh(t, status.Within)); err != nil {
			t.Fatal(err)
		}
		if time.Now().After(end) {
			t.Fatalf("it did not look:\n%s", logged())
		}
	}
	want := "verdict-lost FT8 borderline\n"
	stage(status.Borderline, want)
	want += "verdict-regained FT8 within\n"
	stage(status.Within, want)
	want += "verdict-lost FT8 unknown\n"
	stage("", want) // nothing is published any more
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("ended with %v\n%s", err, logged())
	}
	if n := strings.Count(logged(), "mqtt.broker"); n != 1 {
		t.Errorf("the missing broker is said %d times\n%s", n, logged())
	}
}

// TestFollowNothing: with nothing configured it says so and ends well.
func TestFollowNothing(t *testing.T) {
	code, _, errOut := runArgs("follow", "--config", clitest.EmptyFile(t))
	if code != exit.OK || !strings.Contains(errOut, "[events]") {
		t.Errorf("exit %d: %s", code, errOut)
	}
}

// TestBrokerSilencesNoAlarm: the broker's process hangs for ever, and commands are run
// all the same; told to end, all of it ends within 10 s.
func TestBrokerSilencesNoAlarm(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time for some seconds")
	}
	t.Parallel()
	dir := t.TempDir()
	run, said, conf := filepath.Join(dir, "run"), filepath.Join(dir, "said"), filepath.Join(dir, "conf.toml")
	pub, err := status.NewPublisher(run, true)
	if err != nil {
		t.Fatal(err)
	}
	defer pub.Close()
	text := "[events]\nverdict_lost = ['/bin/sh', '-c', 'echo lost >>" + said + "']\n[mqtt]\nbroker = 'mqtt://127.0.0.1:1'\n"
	if err := os.WriteFile(conf, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(clitest.Binary(t), "follow", "--config", conf, "--run-dir", run)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill()
	eventually := func(what, verdict string, ok func() bool) {
		t.Helper()
		for end := time.Now().Add(clitest.Patience); !ok(); time.Sleep(100 * time.Millisecond) {
			if err := pub.Publish(fresh(t, verdict)); err != nil {
				t.Fatal(err)
			}
			if time.Now().After(end) {
				t.Fatalf("waited in vain for %s", what)
			}
		}
	}
	broker := 0
	eventually("the broker's process", status.Within, func() bool { broker = childOf(cmd.Process.Pid); return broker != 0 })
	defer syscall.Kill(broker, syscall.SIGKILL)
	if err := syscall.Kill(broker, syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	looked := time.Now()
	eventually("a look", status.Within, func() bool { return time.Since(looked) > 3*time.Second })
	eventually("the command", status.Outside, func() bool { b, _ := os.ReadFile(said); return string(b) == "lost\n" })
	begin := time.Now()
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
	if d := time.Since(begin); d > 10*time.Second {
		t.Errorf("ended after %v", d)
	}
	for end := time.Now().Add(clitest.Patience); syscall.Kill(broker, 0) == nil; time.Sleep(50 * time.Millisecond) {
		if b, _ := os.ReadFile(fmt.Sprintf("/proc/%d/stat", broker)); strings.Contains(string(b), ") Z ") {
			break
		}
		if time.Now().After(end) {
			t.Fatal("the broker's process is still there")
		}
	}
}

// childOf is a child of a process that is to do the broker's part, or 0.
func childOf(parent int) int {
	all, _ := filepath.Glob("/proc/[0-9]*/stat")
	for _, name := range all {
		b, _ := os.ReadFile(name)
		f := strings.Fields(string(b[strings.LastIndexByte(string(b), ')')+1:]))
		if len(f) < 2 || f[1] != fmt.Sprint(parent) {
			continue
		}
		line, _ := os.ReadFile(filepath.Join(filepath.Dir(name), "cmdline"))
		if pid, err := strconv.Atoi(filepath.Base(filepath.Dir(name))); err == nil && strings.Contains(string(line), "--part") {
			return pid
		}
	}
	return 0
}
