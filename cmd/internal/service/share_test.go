package service

import (
	"bufio"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/settings"
	"noonmark/status"
)

// TestRunShares: the running service passes the sentences on, by TCP and by a pty
// with a stable name, says so in its status, and takes the name away at its end.
func TestRunShares(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time for some seconds")
	}
	t.Parallel()
	_, device := clitest.Feed(t)
	dir := t.TempDir()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr, link, conf := l.Addr().String(), filepath.Join(dir, "receiver"), filepath.Join(dir, "conf.toml")
	l.Close()
	text := "[receiver]\nshare_tcp = '" + addr + "'\nshare_pty = '" + link + "'\n[publish]\nhttp = ''\n"
	if err := os.WriteFile(conf, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(clitest.Binary(t), "run", "--device", device, "--run-dir", dir, "--state-dir", t.TempDir(),
		"--rtc", "none", "--allow-disk", "--config", conf)
	var log strings.Builder
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill()
	var tcp net.Conn
	clitest.WaitFor(t, &log, "a connection", func() bool { tcp, err = net.Dial("tcp", addr); return err == nil })
	defer tcp.Close()
	var tty *os.File
	clitest.WaitFor(t, &log, "the pty", func() bool { tty, err = os.OpenFile(link, os.O_RDWR, 0); return err == nil })
	defer tty.Close()
	tcp.SetReadDeadline(time.Now().Add(clitest.Patience))
	for name, r := range map[string]*bufio.Scanner{"tcp": bufio.NewScanner(tcp), "pty": bufio.NewScanner(tty)} {
		r.Scan() // the port was opened in the middle of a sentence, maybe
		for want := range 3 {
			if !r.Scan() || !strings.HasPrefix(r.Text(), "$GP") {
				t.Fatalf("%s: line %d is %q\n%s", name, want, r.Text(), log.String())
			}
		}
	}
	path := filepath.Join(dir, status.FileName)
	clitest.WaitFor(t, &log, "the count of readers", func() bool {
		h := clitest.Load(path).Sharing
		return h != nil && h.Readers == 2 && h.Lines >= 3 && h.Lost == 0
	})
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("ended with %v\n%s", err, log.String())
	}
	if _, err := os.Lstat(link); !os.IsNotExist(err) {
		t.Errorf("the pty's name is still there: %v", err)
	}
}

// TestSharingRefusesItself: what would come back to the receiver's own port is
// refused before anything is opened.
func TestSharingRefusesItself(t *testing.T) {
	for _, tt := range []struct {
		device, key, to, want string
	}{
		{"udp://:10110", "share_udp", "127.0.0.1:10110", "share_udp"},
		{"udp://:10110", "share_udp", "192.168.1.255:10110", "share_udp"},
		{"tcp://127.0.0.1:10110", "share_tcp", ":10110", "share_tcp"},
		{"/tmp/x", "share_pty", "/tmp/x", "share_pty"},
		{"tcp://192.168.1.5:10110", "share_tcp", "127.0.0.1:10110", ""},
		{"udp://:10110", "share_tcp", "127.0.0.1:10110", ""},
	} {
		conf := filepath.Join(t.TempDir(), "conf.toml")
		text := "[receiver]\ndevice = '" + tt.device + "'\n" + tt.key + " = '" + tt.to + "'\n"
		if err := os.WriteFile(conf, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		set, err := settings.ForRun(cli.Run{Config: conf})
		if err != nil {
			t.Fatal(err)
		}
		_, err = sharing(set)
		if (err != nil) != (tt.want != "") || err != nil && !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s to %s: %v, want %q", tt.device, tt.to, err, tt.want)
		}
	}
}
