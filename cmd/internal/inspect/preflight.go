// Package inspect holds the commands that look at the machine: ports and preflight.
package inspect

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/build"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/preflight"
	"noonmark/cmd/internal/settings"
	"noonmark/cmd/internal/sleep"
	"noonmark/cmd/internal/terminal"
	"noonmark/cmd/internal/wrap"
	"noonmark/rtc"
	"noonmark/status"
)

// kernelPause is the time between two looks at the kernel: long enough for a program
// that steers to show, short enough to wait for.
const kernelPause = 2 * time.Second

// PreflightChecks is what preflight prints in JSON.
type PreflightChecks struct {
	Passed bool                `json:"passed"`
	Checks []preflight.Finding `json:"checks"`
}

// Preflight looks whether the station has what it needs.
func Preflight(ctx context.Context, c cli.Preflight, out io.Writer) (int, error) {
	set, bad := settings.ForRun(cli.Run{Config: c.Config})
	all, err := Findings(ctx, set, bad, out)
	if err != nil {
		return exit.No, err
	}
	code := exit.OK
	if !preflight.Passed(all) {
		code = exit.No
	}
	if c.JSON {
		return code, json.NewEncoder(out).Encode(PreflightChecks{code == exit.OK, all})
	}
	width := terminal.Of(out).Width
	for _, f := range all {
		fmt.Fprint(out, findingText(f, width))
	}
	last := "Nothing is in the way."
	if code != exit.OK {
		last = "NOT ready to be left alone: see the problems above."
	}
	_, err = fmt.Fprint(out, "\n"+wrap.To(width, "", last))
	return code, err
}

// Findings are the checks of this machine. They take kernelPause and say so on a
// terminal; when ctx ends there is an error.
func Findings(ctx context.Context, set config.Config, bad error, out io.Writer) ([]preflight.Finding, error) {
	bar := terminal.Of(out).Progress()
	bar.Show(0, "checking, 2 s")
	defer bar.Clear()
	all := preflight.Run(thisHost(ctx), set, bad)
	if ctx.Err() != nil {
		return nil, errors.New("stopped before all was looked at")
	}
	return all, nil
}

func findingText(f preflight.Finding, width int) string {
	mark := map[preflight.State]string{preflight.Good: "good     ", preflight.Note: "note     ", preflight.Problem: "PROBLEM  "}[f.State]
	b := wrap.To(width, "         ", f.Check+": "+printable(f.Text))
	if f.Remedy != "" {
		b += wrap.To(width, "         ", "→ "+printable(f.Remedy))
	}
	return mark + b[len(mark):]
}

// thisHost is the machine the program runs on.
func thisHost(ctx context.Context) preflight.Host {
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	h := preflight.Host{Kernel: func() (before, after steer.Kernel, err error) { return kernelTwice(ctx) }, OpenRTC: rtc.Open, Disk: disk,
		Wait: func() { _ = sleep.For(ctx, kernelPause/4) }, // Findings sees when ctx has ended
		Now:  max(timescale.UTCOf(time.Now()), build.Date())}
	if _, err := os.Stat("/run/systemd/system"); err == nil { // sd_booted(3)
		h.Unit = func(name string) (preflight.Unit, error) { return unit(ctx, name) }
	}
	h.RunDir, h.RunErr = env.RunDir("")
	h.State, h.StateErr = env.StateDir("")
	if found, err := status.Find(env.ReadDirs("")...); err == nil && status.Fresh(found.Status, found.Now).OK {
		s := found.Status
		h.Running = s.Live
		switch steer.Word(s.Clock.Steering) {
		case steer.Another:
			h.Aside = s.Live
		case steer.Observing, steer.Forbidden:
		default:
			h.Settled = s.Live
		}
	}
	return h
}

// unitPatience is how long the service manager may take for an answer.
const unitPatience = 5 * time.Second

// unit asks the service manager by its own command: preflight is a person's question, and
// the clock service, which runs nothing, never comes here.
func unit(ctx context.Context, name string) (preflight.Unit, error) {
	ctx, stop := context.WithTimeout(ctx, unitPatience)
	defer stop()
	text, err := exec.CommandContext(ctx, "systemctl", "show", "--property=LoadState,ActiveState,Result", name).Output()
	return parseUnit(string(text)), err
}

func parseUnit(text string) (u preflight.Unit) {
	for line := range strings.Lines(text) {
		switch key, value, _ := strings.Cut(strings.TrimSpace(line), "="); key {
		case "LoadState":
			u.Loaded = value == "loaded"
		case "ActiveState":
			u.Failed = value == "failed"
		case "Result":
			u.Result = value
		}
	}
	return u
}

func kernelTwice(ctx context.Context) (before, after steer.Kernel, err error) {
	if before, err = steer.ReadKernel(); err != nil {
		return before, after, err
	}
	if err = sleep.For(ctx, kernelPause); err != nil {
		return before, after, err
	}
	after, err = steer.ReadKernel()
	return before, after, err
}

func disk(path string) (preflight.Disk, error) {
	var fs unix.Statfs_t
	if err := unix.Statfs(path, &fs); err != nil {
		return preflight.Disk{}, &os.PathError{Op: "statfs", Path: path, Err: err}
	}
	// The fields' types differ between architectures.
	kind := uint32(fs.Type)
	return preflight.Disk{RAM: kind == unix.TMPFS_MAGIC || kind == uint32(unix.RAMFS_MAGIC),
		ReadOnly: fs.Flags&unix.ST_RDONLY != 0, Free: int64(fs.Bavail) * int64(fs.Bsize)}, nil
}
