package main

import (
	"compress/gzip"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"noonmark/cmd/internal/clitest"
	"noonmark/status"
)

// The judge on trial is the one that the settings name: the log says so, and the record,
// by which the same judge can judge again.
func TestJudgeOnTrial(t *testing.T) {
	t.Parallel()
	run, set := t.TempDir(), filepath.Join(t.TempDir(), "noonmark.toml")
	if err := os.WriteFile(set, []byte("[clock]\njudge = \"bank\"\n"), 0o600); err != nil {
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
	if err := cmd.Wait(); err != nil || !strings.Contains(log.String(), "on trial") {
		t.Errorf("ended with %v\n%s", err, log.String())
	}
	parts, err := filepath.Glob(filepath.Join(run, "record", "*.record.gz"))
	if err != nil || len(parts) == 0 {
		t.Fatalf("no record: %v, %v", parts, err)
	}
	f, err := os.Open(parts[0])
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	if text, _ := io.ReadAll(z); !strings.Contains(string(text), `"Bank":true`) {
		t.Errorf("the record does not say which judge: %.600s", text)
	}
}
