package main

import (
	"context"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/exit"
)

// TestServiceManager stands in for the service manager: READY, STATUS and the
// watchdog must arrive (sd_notify(3)).
func TestServiceManager(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time for some seconds")
	}
	t.Parallel()
	dir := t.TempDir()
	sock, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: filepath.Join(dir, "notify"), Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer sock.Close()
	cmd := exec.Command(clitest.Binary(t), "run", "--run-dir", filepath.Join(dir, "run"), "--state-dir", filepath.Join(dir, "state"),
		"--rtc", "none", "--allow-disk", "--config", clitest.EmptyFile(t), "--device", filepath.Join(dir, "absent"))
	cmd.Env = append(os.Environ(), "NOTIFY_SOCKET="+filepath.Join(dir, "notify"), "WATCHDOG_USEC=4000000")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Wait()
	defer cmd.Process.Signal(os.Interrupt)
	all := ""
	buf := make([]byte, 4096)
	for end := time.Now().Add(clitest.Patience); time.Now().Before(end) && strings.Count(all, "WATCHDOG=1") < 3; {
		sock.SetReadDeadline(end)
		n, err := sock.Read(buf)
		if err != nil {
			break
		}
		all += string(buf[:n]) + "\n"
	}
	for _, want := range []string{"READY=1", "STATUS=", "WATCHDOG=1"} {
		if !strings.Contains(all, want) {
			t.Errorf("%s did not arrive; got:\n%s", want, all)
		}
	}
	if strings.Count(all, "WATCHDOG=1") < 3 || strings.Count(all, "READY=1") != 1 {
		t.Errorf("watchdog pings and one READY wanted:\n%s", all)
	}
}

// TestUnwritableRunDir: a run directory that is not in memory is refused with the
// remedy, not worn out.
func TestUnwritableRunDir(t *testing.T) {
	ctx, stop := context.WithTimeout(t.Context(), 2*time.Second)
	defer stop()
	var out, errOut strings.Builder
	code := run(ctx, []string{"run", "--run-dir", t.TempDir(), "--state-dir", t.TempDir(), "--rtc", "none",
		"--device", "/nonexistent", "--config", clitest.EmptyFile(t)}, strings.NewReader(""), &out, &errOut)
	if code == exit.OK {
		t.Skip("the temporary directory is in memory here")
	}
	if !strings.Contains(errOut.String(), "not in RAM") || !strings.Contains(errOut.String(), "--run-dir") {
		t.Errorf("exit %d: %s", code, errOut.String())
	}
}
