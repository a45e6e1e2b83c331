package service

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/sleep"
	"noonmark/gnss/port"
	"noonmark/gnss/pps"
)

const (
	pulseWait  = 1500 * time.Millisecond // for an edge: longer than a second
	pulseRetry = 10 * time.Second
)

// pulseSource is an opened pulse device.
type pulseSource interface {
	Fetch(timeout time.Duration) ([]pps.Stamp, error)
	Captures(pps.Edge) bool
	Close() error
}

// pulseWatch reads the receiver's pulse in a goroutine of its own.
type pulseWatch struct {
	setting string // "auto" or a path
	edge    clockcheck.Edge
	tty     atomic.Pointer[string] // the port that the receiver is on, resolved
	open    func(path string) (pulseSource, error)
	sample  func() hostclock.Pair
	edges   func(at timescale.Local, e clockcheck.Edge, sigma time.Duration)
	missing func(reason string) // "" = none there, and nobody asked for one
}

// newPulse prepares the reading of the pulse as the settings say; nil = none wanted.
func (s *service) newPulse(setting, edge string) *pulseWatch {
	if setting == "none" {
		return nil
	}
	return &pulseWatch{setting: setting, edge: pulseEdge(edge), sample: hostclock.Sample,
		open: func(path string) (pulseSource, error) { return pps.Open(path) },
		edges: func(at timescale.Local, e clockcheck.Edge, sigma time.Duration) {
			s.events <- func() { s.station.Pulse(at, e, sigma) }
		},
		missing: func(reason string) {
			s.events <- func() {
				s.station.PulseMissing(reason)
				if reason != "" {
					s.warn("pulse", reason)
				}
			}
		}}
}

// pulseEdge reads the setting.
func pulseEdge(name string) clockcheck.Edge {
	for _, e := range []clockcheck.Edge{clockcheck.EdgeAssert, clockcheck.EdgeClear} {
		if e.String() == name {
			return e
		}
	}
	return clockcheck.EdgeUnknown
}

// receiverOn says on which port the receiver is.
func (w *pulseWatch) receiverOn(path string) {
	if w == nil {
		return
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	} else if port.Relayed(path) {
		path = ""
	}
	w.tty.Store(&path)
}

// run reads until ctx ends. A device that is absent may come.
func (w *pulseWatch) run(ctx context.Context) {
	for ctx.Err() == nil {
		tty := w.tty.Load()
		path, err := w.device(tty)
		if err == nil {
			err = w.read(ctx, path, tty)
		}
		if err != nil && ctx.Err() == nil {
			reason := pulseReason(path, err)
			if w.setting == "auto" && errors.Is(err, pps.ErrAbsent) {
				reason = ""
			}
			w.missing(reason)
			if sleep.For(ctx, pulseRetry) != nil {
				return
			}
		}
	}
}

// device is the pulse device to read. "auto" waits for a receiver, whose pulse it is to be.
func (w *pulseWatch) device(tty *string) (string, error) {
	if w.setting != "auto" {
		return w.setting, nil
	}
	if tty == nil {
		return "", pps.ErrAbsent
	}
	all, err := pps.List(os.DirFS("/sys"))
	if err != nil {
		return "", err
	}
	i, err := pps.Choose(all, *tty)
	return i.Path, err
}

// read passes edges on until ctx ends or the receiver is found on another port (nil),
// or the device fails.
func (w *pulseWatch) read(ctx context.Context, path string, tty *string) error {
	src, err := w.open(path)
	if err != nil {
		return err
	}
	defer src.Close()
	if e := pps.Edge(w.edge); w.edge != clockcheck.EdgeUnknown && !src.Captures(e) {
		return fmt.Errorf("the setting receiver.pps_edge is %q, and %s does not capture that edge", w.edge, path)
	}
	before := w.sample()
	for ctx.Err() == nil && w.tty.Load() == tty {
		stamps, err := src.Fetch(pulseWait)
		if err != nil {
			return err
		}
		after := w.sample()
		for _, s := range stamps {
			at, half, err := hostclock.ToLocalNear(s.System, before, after)
			if err != nil {
				continue // the clock was stepped meanwhile, or the machine slept
			}
			w.edges(at, clockcheck.Edge(s.Edge), half)
		}
		before = after
	}
	return nil
}

// pulseReason is a sentence with the remedy.
func pulseReason(path string, err error) string {
	switch {
	case errors.Is(err, pps.ErrDenied):
		return "The pulse device may not be read: run noonmark as its service, or give this user the right to " + path + "."
	case errors.Is(err, pps.ErrBusy):
		return "Another program holds the pulse device " + path + ": stop it."
	case errors.Is(err, pps.ErrNoWait):
		return path + " is no pulse device, or its driver cannot wait for an edge."
	case errors.Is(err, pps.ErrAbsent):
		return "There is no pulse device " + path + ": its driver is not loaded. (A pin of a small board needs its overlay in the boot configuration.)"
	}
	return "The pulse cannot be read: " + err.Error() + "."
}
