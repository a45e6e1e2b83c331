package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"noonmark/cmd/internal/clitest"
	"noonmark/status"
)

// Settings of an earlier version that name a judge are read, and the log says that the line
// sets nothing any more.
func TestSettingsThatNameAJudge(t *testing.T) {
	t.Parallel()
	run, set := t.TempDir(), filepath.Join(t.TempDir(), "noonmark.toml")
	if err := os.WriteFile(set, []byte("[clock]\njudge = \"rules\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(clitest.Binary(t), "run", "--device", filepath.Join(t.TempDir(), "none"), "--run-dir", run, "--state-dir", t.TempDir(),
		"--rtc", "none", "--allow-disk", "--config", set)
	var log strings.Builder
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	clitest.WaitFor(t, &log, "a status", func() bool { _, err := os.Stat(filepath.Join(run, status.FileName)); return err == nil })
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil || !strings.Contains(log.String(), set+":2: clock.judge sets nothing any more") {
		t.Errorf("ended with %v\n%s", err, log.String())
	}
}
