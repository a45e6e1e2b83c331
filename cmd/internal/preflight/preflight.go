// Package preflight looks whether a station has what it needs before its operator
// leaves: devices, rights, memory and disk, and nobody else at the clock. In: a Host,
// which is a file system tree and a few questions to the kernel, and the settings. Out:
// Findings, each with its remedy. It changes nothing and opens no serial port.
package preflight

import (
	"path/filepath"

	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/config"
	"noonmark/rtc"
)

// State is how bad a finding is.
type State string

// The states. A note is no hindrance; one problem makes the whole a failure.
const (
	Good    State = "good"
	Note    State = "note"
	Problem State = "problem"
)

// Finding is the outcome of one check.
type Finding struct {
	Check  string `json:"check"`
	State  State  `json:"state"`
	Text   string `json:"text"`             // one sentence
	Remedy string `json:"remedy,omitempty"` // what to do, where something is to be done
}

// Host is the machine looked at.
type Host struct {
	Root     string // its file system; "" = the real one
	RunDir   string // where the status is to lie; "" = nowhere, for RunErr
	RunErr   error
	State    string // where what is learned is to lie; "" for StateErr
	StateErr error
	Running  bool // the service runs
	Settled  bool // … and steers the clock: what is done to it is ours
	Aside    bool // … and has left the clock to another program
	// Kernel reads the kernel's state, twice with some time between.
	Kernel func() (before, after steer.Kernel, err error)
	// OpenRTC opens a hardware clock for reading.
	OpenRTC func(path string) (rtc.Device, error)
	// Disk describes the file system that a path lies on.
	Disk func(path string) (Disk, error)
	// Unit asks the service manager; nil = there is none.
	Unit func(name string) (Unit, error)
	Wait func()        // a moment, between two tries; nil = none
	Now  timescale.UTC // the system clock, or the build date if that is later
}

// Disk is a file system.
type Disk struct {
	RAM, ReadOnly bool
	Free          int64 // bytes for this user
}

func (h *Host) path(p string) string {
	if h.Root == "" {
		return p
	}
	return filepath.Join(h.Root, p)
}

// Run makes every check. bad is what is wrong with the settings, if they cannot be
// read; then set holds the defaults.
func Run(h Host, set config.Config, bad error) []Finding {
	out := []Finding{settings(bad)}
	out = append(out, h.receiver(set), h.hardwareClock(set), h.right(set))
	out = append(out, h.others(set)...)
	out = append(out, hooks(set)...)
	out = append(out, h.waitingUnits()...)
	out = append(out, h.runDir(), h.stateDir())
	out = append(out, h.learned()...)
	return append(out, h.leapList(), h.supply())
}

// Passed tells whether nothing is in the way.
func Passed(all []Finding) bool {
	for _, f := range all {
		if f.State == Problem {
			return false
		}
	}
	return true
}

func settings(bad error) Finding {
	const check = "settings"
	if bad != nil {
		return Finding{check, Problem, "The settings cannot be used: " + bad.Error() + ".", "Mend the file; noonmark does not start with it."}
	}
	return Finding{check, Good, "The settings are in order.", ""}
}
