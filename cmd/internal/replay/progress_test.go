package replay

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/creack/pty"

	"noonmark/cmd/internal/cli"
)

// TestProgress: on a terminal a long file shows how far it is, and the bar is gone in
// the end; in a pipe there is none.
func TestProgress(t *testing.T) {
	line := "$GPTXT,01,01,02,no time in it*43\r\n"
	long := filepath.Join(t.TempDir(), "long.nmea")
	if err := os.WriteFile(long, bytes.Repeat([]byte(line), 3*barEvery/len(line)), 0o600); err != nil {
		t.Fatal(err)
	}
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer master.Close()
	got := make(chan string)
	go func() {
		b, _ := io.ReadAll(master)
		got <- string(b)
	}()
	if err := Files(cli.Replay{Files: []string{long}}, slave); err != nil {
		t.Fatal(err)
	}
	slave.Close()
	seen := <-got
	if !strings.Contains(seen, "[#####") || !strings.Contains(seen, "of 6.3 MB") || strings.LastIndex(seen, "[#") > strings.LastIndex(seen, "\r\x1b[K") {
		t.Errorf("on a terminal: %q", seen)
	}
	var pipe strings.Builder
	if err := Files(cli.Replay{Files: []string{long}}, &pipe); err != nil || strings.Contains(pipe.String(), "MB") {
		t.Errorf("in a pipe (%v): %s", err, &pipe)
	}
}
