package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/keep"
	"noonmark/cmd/internal/station"
	"noonmark/status"
)

// TestPlaceIsKept starts the real program without a receiver on a state file that
// knows a place: it is published as from before, grid shows it so, and at the end it
// is still in the file.
func TestPlaceIsKept(t *testing.T) {
	t.Parallel()
	state, run := t.TempDir(), t.TempDir()
	place := station.LastPlace{LatDeg: -20.13, LonDeg: -67.49, AltM: status.Known(3656), BoundM: 9, Locator: "FG69gu18et", UTC: 1770000000e9}
	if err := keep.Save(state, keep.State{Place: &place}); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(clitest.Binary(t), "run", "--device", filepath.Join(t.TempDir(), "none"), "--run-dir", run, "--state-dir", state,
		"--rtc", "none", "--allow-disk", "--config", clitest.EmptyFile(t))
	var log strings.Builder
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(run, status.FileName)
	clitest.WaitFor(t, &log, "a status", func() bool { _, err := os.Stat(path); return err == nil })
	p := clitest.Load(path).Position
	if p == nil || !p.Kept || p.Locator != place.Locator || p.AgeS.OK || p.Fix != "none" {
		t.Errorf("published: %+v", p)
	}
	if _, err := os.Stat(filepath.Join(run, status.GridName)); err == nil {
		t.Error("the plain file holds a place that may be old")
	}
	code, out, errOut := runArgs("grid", "--run-dir", run)
	if code != exit.OK || !strings.Contains(out, "FG69gu18et") || !strings.Contains(out, "from before noonmark started, nobody knows how long ago") {
		t.Errorf("grid: exit %d\n%s%s", code, out, errOut)
	}
	code, out, errOut = runArgs("report", "--fit", "40", "--run-dir", run)
	if code != exit.OK || !strings.HasSuffix(out, " OLD\n") || !strings.Contains(out, "? FG69GU") || !strings.Contains(errOut, "may have moved") {
		t.Errorf("report: exit %d\n%s%s", code, out, errOut)
	}
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("ended with %v\n%s", err, log.String())
	}
	if kept, err := keep.Load(state); err != nil || kept.Place == nil || *kept.Place != place {
		t.Errorf("kept %+v, %v", kept.Place, err)
	}
}
