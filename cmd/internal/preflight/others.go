package preflight

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"noonmark/clockcheck/steer"
	"noonmark/cmd/internal/config"
)

// Who else sets the clock is found by what a program is for, never by its name: the
// service manager's list of network-time units, the package system's name for the
// job, and what happens to the clock.
const ownName = "noonmark"

// unitLists hold the network-time units of systemd (systemd-timedated.service(8)).
var unitLists = []string{"/etc/systemd/ntp-units.d", "/run/systemd/ntp-units.d", "/usr/local/lib/systemd/ntp-units.d", "/usr/lib/systemd/ntp-units.d"}

// others looks for other programs at the clock.
func (h *Host) others(set config.Config) []Finding {
	const check = "other clock programs"
	bad := Problem
	remedy := "Stop it and switch it off (sudo systemctl disable --now UNIT), or set clock.steer to false. Two that steer make a worse clock than one."
	if !set.Clock.Steer {
		bad = Note
		remedy = "noonmark only watches, so that is no hindrance."
	}
	var out []Finding
	for _, u := range h.units() {
		out = append(out, Finding{check, bad, "The service " + u + " runs, which sets the clock from a network.", strings.ReplaceAll(remedy, "UNIT", u)})
	}
	if h.Aside {
		out = append(out, Finding{check, bad, "noonmark has left the clock to another program, which set it again and again.",
			"Find it and stop it; then take the clock back: sudo noonmark resume."})
	}
	before, after, err := h.Kernel()
	switch what := ""; {
	case err != nil:
		out = append(out, Finding{check, Note, "The kernel does not tell what is done to the clock: " + err.Error() + ".", ""})
	case h.Settled:
	default:
		if what = working(before, after); what != "" && len(out) == 0 {
			out = append(out, Finding{check, bad, what, strings.ReplaceAll(remedy, "UNIT", "…")})
		}
	}
	for _, p := range h.packages() {
		if len(out) == 0 {
			out = append(out, Finding{check, Note, "The package " + p + " sets the clock, too; it does not run now.", "See that it does not start at the next boot."})
		}
	}
	if len(out) == 0 {
		return []Finding{{check, Good, "No other program sets the clock.", ""}}
	}
	return out
}

// working says what shows that somebody steers the clock now, "" for nothing.
func working(before, after steer.Kernel) string {
	const loops = steer.BitPLL | steer.BitFLL | steer.BitPPSFreq | steer.BitPPSTime
	switch {
	case math.Abs(before.FreqPPM-after.FreqPPM) > 0.001:
		return "Some program is changing the clock's rate."
	case after.Bits&loops != 0:
		return "Some program has set the kernel's own loop to work on the clock."
	case after.SlewLeft != 0:
		return "Some program is turning the clock."
	case after.Bits&steer.BitUnsync == 0:
		return "Some program has told the kernel that the clock is right."
	}
	return ""
}

// units lists the network-time units that run.
func (h *Host) units() (running []string) {
	var seen []string
	for _, dir := range unitLists {
		files, _ := filepath.Glob(filepath.Join(h.path(dir), "*.list"))
		for _, name := range files {
			text, err := os.ReadFile(name)
			if err != nil {
				continue
			}
			for line := range strings.Lines(string(text)) {
				u := strings.TrimSpace(line)
				if u == "" || u[0] == '#' || strings.HasPrefix(u, ownName) || u != filepath.Base(u) || slices.Contains(seen, u) {
					continue
				}
				seen = append(seen, u)
				if h.runs(u) {
					running = append(running, u)
				}
			}
		}
	}
	return running
}

// runs looks whether a unit's control group holds a process.
func (h *Host) runs(unit string) bool {
	for _, top := range []string{"/sys/fs/cgroup/system.slice", "/sys/fs/cgroup/systemd/system.slice", "/sys/fs/cgroup/unified/system.slice"} {
		if b, err := os.ReadFile(filepath.Join(h.path(top), unit, "cgroup.procs")); err == nil && len(strings.TrimSpace(string(b))) > 0 {
			return true
		}
	}
	return false
}

// packages lists installed packages that provide Debian's virtual package for the job
// (Debian's list of virtual package names).
func (h *Host) packages() (out []string) {
	f, err := os.Open(h.path("/var/lib/dpkg/status"))
	if err != nil {
		return nil
	}
	defer f.Close()
	name, installed := "", false
	in := bufio.NewScanner(f)
	in.Buffer(nil, 1<<20)
	for in.Scan() {
		key, value, _ := strings.Cut(in.Text(), ": ")
		switch key {
		case "Package":
			name, installed = value, false
		case "Status":
			installed = strings.HasSuffix(value, " installed")
		case "Provides":
			for _, p := range strings.Split(value, ",") {
				p, _, _ = strings.Cut(strings.TrimSpace(p), " ")
				if p == "time-daemon" && installed && name != ownName {
					out = append(out, name)
				}
			}
		}
	}
	return out
}
