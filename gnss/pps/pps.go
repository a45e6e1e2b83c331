// Package pps reads the edges of a receiver's pulse through the kernel's own interface
// (RFC 2783; Linux: linux/pps.h, /dev/pps*).
//
// Out come stamps of the system clock, as the kernel took them in the interrupt. They
// are no instants of the local timescale yet: whoever has the pairs that tie the two
// clocks together converts them, and drops what straddles a step. A stamp says that an
// edge came, not which second it marks, nor whether the edge is the second's.
//
// A Source is owned by one goroutine. Nothing is changed in the kernel but that both
// edges are captured, where the device can and we may.
package pps

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"noonmark/clockcheck/timescale"
)

// Edge is an edge as the kernel names it.
type Edge int

const (
	Assert Edge = 1 + iota
	Clear
)

func (e Edge) String() string {
	switch e {
	case Assert:
		return "assert"
	case Clear:
		return "clear"
	}
	return "unknown"
}

// Stamp is one edge.
type Stamp struct {
	Edge   Edge
	System timescale.UTC // what the system clock said when it came
	Missed int           // edges of this kind that came since the last one we saw, and were not seen
}

// Classes of error, to be tested with errors.Is.
var (
	ErrAbsent = errors.New("no such pulse device")
	ErrDenied = errors.New("no right to it")
	ErrBusy   = errors.New("in use by another program")
	// ErrNoWait: the driver cannot wait for an edge, or captures none.
	ErrNoWait = errors.New("its driver cannot wait for an edge")
)

// classed joins the system's error to its class.
func classed(err error) error {
	for _, c := range []struct{ is, class error }{
		{fs.ErrNotExist, ErrAbsent}, {syscall.ENODEV, ErrAbsent}, {syscall.ENXIO, ErrAbsent},
		{fs.ErrPermission, ErrDenied}, {syscall.EBUSY, ErrBusy},
		{syscall.EOPNOTSUPP, ErrNoWait}, {syscall.ENOTTY, ErrNoWait}, {syscall.ENOSYS, ErrNoWait},
	} {
		if errors.Is(err, c.is) {
			return fmt.Errorf("%w: %w", c.class, err)
		}
	}
	return err
}
