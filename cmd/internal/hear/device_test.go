package hear

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/cmd/internal/cli"
)

// recorderThat puts a program in place of the system's recorder.
func recorderThat(t *testing.T, does string) {
	t.Helper()
	dir := t.TempDir()
	t.Setenv("PATH", dir+":/usr/bin:/bin")
	if err := os.WriteFile(filepath.Join(dir, recorder), []byte("#!/bin/sh\n"+does+"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
}

func fromDevice(t *testing.T) (int, string, error) {
	t.Helper()
	var out strings.Builder
	c := cli.Hear{Mode: "FT8", Sound: "plughw:7", Rate: 12000, Channel: 1, Channels: 2, Check: true}
	code, err := Hear(t.Context(), c, strings.NewReader(""), &out, io.Discard)
	return code, out.String(), err
}

// TestDevice: a device that is not there, and one that vanishes while sound comes, are named in the recorder's words.
func TestDevice(t *testing.T) {
	for does, want := range map[string]string{
		`echo "arecord: main:831: audio open error: No such file or directory" >&2; echo more >&2; exit 1`: "audio open error: No such file or directory",
		`head -c 96000 /dev/zero; echo "arecord: pcm_read:2221: read error: No such device" >&2; exit 1`:   "read error: No such device",
	} {
		recorderThat(t, does)
		code, text, err := fromDevice(t)
		if code != 1 || err == nil || !strings.Contains(err.Error(), `sound device "plughw:7"`) || !strings.HasSuffix(err.Error(), want) {
			t.Errorf("%s: %d, %v, %s", does, code, err, text)
		}
	}
}

// TestRecorderIsAskedFor: the device, the rate and the channels that were said, and no file.
func TestRecorderIsAskedFor(t *testing.T) {
	recorderThat(t, `echo "$@" >&2; exit 1`)
	_, _, err := fromDevice(t)
	for _, want := range []string{"-D plughw:7", "-t raw", "-f S16_LE", "-c 2", "-r 12000"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("no %q: %v", want, err)
		}
	}
}

// TestNoRecorder: what to install is said, and what to do without.
func TestNoRecorder(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	if code, _, err := fromDevice(t); code != 1 || err == nil || !strings.Contains(err.Error(), "apt install alsa-utils") || !strings.Contains(err.Error(), "--raw") {
		t.Errorf("%d, %v", code, err)
	}
}

// TestRecorderIsEnded: the recorder is ended with the program, not left behind.
func TestRecorderIsEnded(t *testing.T) {
	mark := filepath.Join(t.TempDir(), "running")
	recorderThat(t, "echo $$ >"+mark+".new; mv "+mark+".new "+mark+"; exec sleep 600")
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() {
		_, err := Hear(ctx, cli.Hear{Mode: "FT8", Rate: 12000, Channel: 1, Channels: 1}, strings.NewReader(""), io.Discard, io.Discard)
		ended <- err
	}()
	var pid []byte
	for begin := time.Now(); len(pid) == 0 && time.Since(begin) < time.Minute; time.Sleep(5 * time.Millisecond) {
		pid, _ = os.ReadFile(mark)
	}
	stop()
	if err := <-ended; err != nil && !strings.Contains(err.Error(), "device is gone") || len(pid) == 0 {
		t.Fatalf("%v, recorder %q", err, pid)
	}
	if _, err := os.Stat("/proc/" + strings.TrimSpace(string(pid))); err == nil {
		t.Errorf("the recorder %s runs on", pid)
	}
}
