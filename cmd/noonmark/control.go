package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"path/filepath"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// The control socket lets people on the station itself tell the running service what
// they know: one JSON request a connection, one JSON answer. Whoever may write to it
// (the service's own user and group) may do what it offers; it sets no clock.
const (
	controlName  = "control.sock"
	controlMode  = 0o660
	controlTime  = 5 * time.Second
	controlBytes = 4096
	controlConns = 8
)

// request is what a connection asks.
type request struct {
	Do   string    `json:"do"` // "mark"
	Mark *markWord `json:"mark,omitempty"`
}

// markWord is a mark on its way to the service. Both ends read the same oscillator, as
// long as the machine did not sleep in between.
type markWord struct {
	BootID  string          `json:"boot_id"`
	LocalNS timescale.Local `json:"local_ns"`
	AsleepS float64         `json:"asleep_s"`
	UTC     timescale.UTC   `json:"utc_ns"` // 0 = the whole minute nearest to what is known
	BoundS  float64         `json:"bound_s"`
}

// answer is what comes back.
type answer struct {
	Error string      `json:"error,omitempty"`
	Mark  *markAnswer `json:"mark,omitempty"`
}

// markAnswer is what the judge makes of a mark.
type markAnswer struct {
	Placed  bool              `json:"placed"` // false: the minute must be named
	Says    *status.Reference `json:"says"`   // the mark as a reference, null if it is none
	Because string            `json:"because"`
	Modes   map[string]string `json:"modes"` // verdict by mode, now
}

// errNoService says that no service listens.
var errNoService = errors.New("no service is running here: start it: noonmark run")

// tellService asks the service that listens in the first of dirs.
func tellService(dirs []string, r request) (a answer, err error) {
	var c net.Conn
	err = errNoService
	for _, dir := range dirs {
		if c, err = net.Dial("unix", filepath.Join(dir, controlName)); err == nil {
			break
		}
		if errors.Is(err, fs.ErrPermission) {
			return a, fmt.Errorf("the service may not be told: become a member of its group, or use sudo: %w", err)
		}
		err = errNoService
	}
	if err != nil {
		return a, err
	}
	defer c.Close()
	c.SetDeadline(time.Now().Add(2 * controlTime))
	if err := json.NewEncoder(c).Encode(r); err != nil {
		return a, fmt.Errorf("tell the service: %w", err)
	}
	if err := json.NewDecoder(c).Decode(&a); err != nil {
		return a, fmt.Errorf("hear from the service: %w", err)
	}
	if a.Error != "" {
		return a, errors.New(a.Error)
	}
	return a, nil
}
