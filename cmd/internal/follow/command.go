package follow

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"syscall"
	"time"

	"noonmark/status"
)

// one runs one command to its end.
func (r *Runner) one(ctx context.Context, argv []string, j job, missed int) Outcome {
	limited, cancel := context.WithTimeout(ctx, r.limit)
	defer cancel()
	out := &clipped{}
	mark := r.jobs.mark()
	cmd := exec.CommandContext(limited, argv[0], argv[1:]...)
	cmd.Env = append(inherited(os.Getenv), environment(j.event, missed)...)
	cmd.Env = append(cmd.Env, mark)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(j.input), out, out
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	asked := false
	cmd.Cancel = func() error { asked = true; return syscall.Kill(-cmd.Process.Pid, syscall.SIGTERM) }
	cmd.WaitDelay = grace // then killed; a grandchild that holds the pipes waits no longer
	begin := time.Now()
	err := r.jobs.start(cmd, mark)
	if err == nil {
		err = cmd.Wait()
		_ = syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) // what is left of the group
		r.jobs.end(cmd.Process.Pid, mark)
	}
	switch {
	case asked && ctx.Err() == nil:
		err = ErrTooLong
	case errors.Is(err, exec.ErrWaitDelay): // ended well, and left something running
		err = nil
	}
	return Outcome{Event: j.event, Missed: missed, Took: time.Since(begin), Printed: out.String(), Err: err}
}

// inherited is what a command gets of our own environment: where programs are, who we
// are, the language, and what a desktop's notification needs.
func inherited(getenv func(string) string) (env []string) {
	for _, name := range []string{"PATH", "HOME", "USER", "LOGNAME", "SHELL", "LANG", "LANGUAGE", "LC_ALL", "LC_CTYPE", "LC_MESSAGES", "TZ", "TMPDIR",
		"XDG_RUNTIME_DIR", "DISPLAY", "WAYLAND_DISPLAY", "XAUTHORITY", "DBUS_SESSION_BUS_ADDRESS"} {
		if v := getenv(name); v != "" {
			env = append(env, name+"="+v)
		}
	}
	return env
}

// environment says the event in variables; empty ones are there too, so that a
// script may ask for them all.
func environment(e Event, missed int) []string {
	return []string{
		"NOONMARK_EVENT=" + e.Kind, "NOONMARK_TEXT=" + status.Clean(e.Text), "NOONMARK_MODE=" + status.Clean(e.Mode),
		"NOONMARK_LOCATOR=" + status.Clean(e.Locator), "NOONMARK_REFERENCE=" + status.Clean(e.Reference),
		"NOONMARK_IS=" + status.Clean(e.Is), "NOONMARK_WAS=" + status.Clean(e.Was),
		fmt.Sprintf("NOONMARK_MISSED=%d", missed),
	}
}

// clipped keeps the beginning of what is written and forgets the rest. The buffer is no
// embedded one: its ReadFrom, which io.Copy prefers, would keep all.
type clipped struct{ kept bytes.Buffer }

func (c *clipped) Write(p []byte) (int, error) {
	c.kept.Write(p[:min(len(p), maxPrinted-c.kept.Len())])
	return len(p), nil
}

func (c *clipped) String() string { return c.kept.String() }
