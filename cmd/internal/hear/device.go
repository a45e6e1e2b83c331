package hear

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os/exec"
	"strconv"
	"strings"
	"time"

	"noonmark/cmd/internal/cli"
)

// recorder is the system's own program that reads a sound device (alsa-utils).
const recorder = "arecord"

// record runs the recorder as a child and hands its sound to use. What it says on
// standard error names what is wrong.
func record(ctx context.Context, c cli.Hear, use func(context.Context, io.Reader) (int, error)) (int, error) {
	path, err := exec.LookPath(recorder)
	if err != nil {
		return 1, fmt.Errorf("hear: %s is not installed: sudo apt install alsa-utils, or pipe raw sound in: noonmark hear --raw", recorder)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	cmd := exec.CommandContext(ctx, path, "-q", "-D", c.Sound, "-t", "raw", "-f", "S16_LE", "-c", strconv.Itoa(c.Channels),
		"-r", strconv.Itoa(c.Rate), "--period-time=100000", "--buffer-time=1000000")
	var said bytes.Buffer
	cmd.Stderr, cmd.WaitDelay = &limited{&said}, 2*time.Second
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return 1, err
	}
	if err := cmd.Start(); err != nil {
		return 1, fmt.Errorf("hear: %w", err)
	}
	code, err := use(ctx, pipe)
	ended := ctx.Err() != nil
	stop()
	failed := cmd.Wait()
	if err == nil && failed != nil && !ended && said.Len() > 0 {
		err = fmt.Errorf("hear: the sound device %q: %s", c.Sound, firstLine(said.String()))
		code = 1
	}
	return code, err
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(strings.TrimSpace(s), "\n")
	return s
}

// limited keeps the first 4 kB.
type limited struct{ b *bytes.Buffer }

func (l *limited) Write(p []byte) (int, error) {
	if room := 4096 - l.b.Len(); room > 0 {
		l.b.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}
