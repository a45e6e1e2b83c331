// Package control is the protocol between the running service and the commands of
// people on the station itself, and the side that asks.
package control

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/config"
	"noonmark/status"
)

// The control socket lets people on the station itself tell the running service what
// they know: one JSON request a connection, one JSON answer. Whoever may write to it
// (the service's own user and group) may do what it offers; it sets no clock.
const (
	Name     = "control.sock"
	Mode     = 0o660
	Time     = 5 * time.Second
	MaxBytes = 4096
	MaxConns = 8
)

// Request is what a connection asks.
type Request struct {
	Do   string `json:"do"` // "mark", "withdraw", "air", "resume"
	Mark *Mark  `json:"mark,omitempty"`
	Air  *Air   `json:"air,omitempty"`
}

// Air is what the radio's sound told, on its way to the service.
type Air struct {
	BootID  string          `json:"boot_id"`
	LocalNS timescale.Local `json:"local_ns"`
	AsleepS float64         `json:"asleep_s"`
	Source  string          `json:"source"` // "crowd", or the station's name
	UTC     timescale.UTC   `json:"utc_ns"`
	ModuloS float64         `json:"modulo_s"` // UTC is known but for multiples of this; 0 = wholly
	BoundS  float64         `json:"bound_s"`
	CommonS float64         `json:"common_s"` // of the bound, what all readings of the source share
	Signals int             `json:"signals"`
}

// Mark is a mark on its way to the service. Both ends read the same oscillator, as
// long as the machine did not sleep in between.
type Mark struct {
	BootID  string          `json:"boot_id"`
	LocalNS timescale.Local `json:"local_ns"`
	AsleepS float64         `json:"asleep_s"`
	UTC     timescale.UTC   `json:"utc_ns"` // 0 = the whole minute nearest to what is known
	BoundS  float64         `json:"bound_s"`
}

// Answer is what comes back.
type Answer struct {
	Error string  `json:"error,omitempty"`
	Mark  *Marked `json:"mark,omitempty"`
	Air   *Marked `json:"air,omitempty"`
	Done  string  `json:"done,omitempty"` // what was done, a sentence
}

// Marked is what the judge makes of a mark.
type Marked struct {
	Placed  bool              `json:"placed"` // false: the minute must be named; or there was none to take back
	Says    *status.Reference `json:"says"`   // the mark as a reference, null if it is none
	Because string            `json:"because"`
	Modes   map[string]string `json:"modes"` // verdict by mode, now
}

// ErrNoService says that no service listens.
var ErrNoService = errors.New("no service is running here")

// Tell asks the service that listens in the first of dirs.
func Tell(dirs []string, r Request) (a Answer, err error) {
	var c net.Conn
	err = ErrNoService
	for _, dir := range dirs {
		if c, err = net.Dial("unix", filepath.Join(dir, Name)); err == nil {
			break
		}
		if errors.Is(err, fs.ErrPermission) {
			return a, fmt.Errorf("the service may not be told: become a member of its group, or use sudo: %w", err)
		}
		err = ErrNoService
	}
	if err != nil {
		return a, fmt.Errorf("%w: start it: %s", err, config.Environment{Getenv: os.Getenv}.StartCommand())
	}
	defer c.Close()
	c.SetDeadline(time.Now().Add(2 * Time))
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
