package preflight

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"

	"noonmark/clockcheck/leaps"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/follow"
)

// needFree is what should be free on the disk that what is learned is kept on: it is a
// hundred times what is needed, for others write there, too.
const needFree = 10 << 20

// needRun is what should be free where the status is published: ten of the largest.
const needRun = 1 << 20

// hooks: a command that cannot be run is found at home, not at the moment it is for.
func hooks(set config.Config) []Finding {
	bad := follow.Unrunnable(map[string][]string{
		follow.VerdictLost: set.Events.VerdictLost, follow.VerdictRegained: set.Events.VerdictRegained,
		follow.LocatorChanged: set.Events.LocatorChanged, follow.TrustChanged: set.Events.TrustChanged, follow.BatteryLow: set.Events.BatteryLow})
	var out []Finding
	for _, p := range bad {
		text, remedy, _ := strings.Cut(p.Text, ". ")
		out = append(out, Finding{"commands", Problem, text + ".", remedy})
	}
	return out
}

// runDir: a file replaced every second must lie in memory.
func (h *Host) runDir() Finding {
	const check = "status directory"
	if h.RunErr != nil {
		return Finding{check, Problem, "There is no place for the status: " + h.RunErr.Error() + ".", "Name one in memory with --run-dir, below /run."}
	}
	d, err := h.disk(h.RunDir)
	switch {
	case err != nil:
		return Finding{check, Problem, h.RunDir + " cannot be used: " + errText(err) + ".", "Name another with --run-dir, below /run."}
	case !d.RAM:
		return Finding{check, Problem, h.RunDir + " is not in memory: a file replaced every second wears a disk out.", "Name one below /run with --run-dir."}
	}
	if d.Free < needRun {
		return Finding{check, Problem, fmt.Sprintf("%s is full: %d kB are left, and noonmark cannot publish.", h.RunDir, d.Free>>10), "Make room below /run: df /run."}
	}
	return Finding{check, Good, h.RunDir + " is in memory.", ""}
}

func (h *Host) stateDir() Finding {
	const check = "disk"
	if h.StateErr != nil {
		return Finding{check, Problem, "There is no place to keep what is learned: " + h.StateErr.Error() + ".", "Name one with --state-dir."}
	}
	d, err := h.disk(h.State)
	switch {
	case err != nil:
		return Finding{check, Problem, h.State + " cannot be used: " + errText(err) + ".", "Give the service a directory that it may write to (--state-dir)."}
	case d.ReadOnly:
		return Finding{check, Problem, h.State + " lies on a disk that can only be read: what is learned is lost at power-off.", "Make it writable, or name another with --state-dir."}
	case d.RAM:
		return Finding{check, Note, h.State + " lies in memory: what is learned is lost at power-off.", "Name one on a disk with --state-dir."}
	case d.Free < needFree:
		return Finding{check, Problem, fmt.Sprintf("The disk of %s has %d kB left.", h.State, d.Free>>10), "Make room: what is learned may not be kept, and other programs may fail."}
	}
	return Finding{check, Good, fmt.Sprintf("What is learned is kept in %s, %d MB are free.", h.State, d.Free>>20), ""}
}

// disk describes where dir lies or would be made, and whether this user may write.
func (h *Host) disk(dir string) (Disk, error) {
	for {
		p := h.path(dir)
		if _, err := os.Stat(p); errors.Is(err, fs.ErrNotExist) && dir != "/" {
			dir = filepath.Dir(dir)
			continue
		}
		d, err := h.Disk(p)
		if err == nil && !d.ReadOnly {
			if err = unix.Access(p, unix.W_OK); err != nil {
				err = &fs.PathError{Op: "write", Path: dir, Err: err}
			}
		}
		return d, err
	}
}

// leapList: past its expiry nobody knows of a leap second that was announced since.
func (h *Host) leapList() Finding {
	const check = "leap seconds"
	const upgrade = "Upgrade the package tzdata when there is a network. Until then the kernel learns of no leap second; the last was in 2016."
	f, err := os.Open(h.path(leaps.Path))
	if err != nil {
		return Finding{check, Note, "There is no list of leap seconds (" + leaps.Path + ").", upgrade}
	}
	defer f.Close()
	t, err := leaps.Read(f)
	if err != nil {
		return Finding{check, Problem, "The list of leap seconds is damaged: " + err.Error() + ".", "Install the package tzdata again."}
	}
	until := t.Expires.Time().Format("2006-01-02")
	if h.Now >= t.Expires {
		return Finding{check, Note, "The list of leap seconds ended on " + until + ".", upgrade}
	}
	return Finding{check, Good, "The list of leap seconds holds until " + until + ".", ""}
}
