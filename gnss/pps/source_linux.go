package pps

import (
	"errors"
	"fmt"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"noonmark/clockcheck/timescale"
)

// Mode bits and flags of linux/pps.h, which golang.org/x/sys does not have.
const (
	captureAssert = 0x01
	captureClear  = 0x02
	captureBoth   = captureAssert | captureClear
	offsetAssert  = 0x10
	offsetClear   = 0x20
	canWait       = 0x100
	apiVersion    = 1
)

// Source is an opened pulse device. Make one with Open.
type Source struct {
	path   string
	fd     int
	ioctl  func(fd int, request uintptr, arg unsafe.Pointer) error // the seam
	mode   int32
	offset [2]time.Duration // that another program has the kernel add, by Edge − 1
	seen   bool
	last   [2]uint32
}

// Open opens the pulse device at path, such as "/dev/pps0", and has both its edges
// captured if it can. Reading needs the right to the node only; to capture an edge that
// is not captured by default the kernel wants CAP_SYS_TIME, and without it what is
// captured is what comes.
func Open(path string) (*Source, error) {
	fd, err := unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, fmt.Errorf("pps: open %s: %w", path, classed(err))
	}
	s := &Source{path: path, fd: fd, ioctl: ioctl}
	if err := s.setUp(); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

func ioctl(fd int, request uintptr, arg unsafe.Pointer) error {
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), request, uintptr(arg)); errno != 0 {
		return errno
	}
	return nil
}

// setUp asks what the device can and wants both edges of it.
func (s *Source) setUp() error {
	var can int32
	if err := s.ioctl(s.fd, unix.PPS_GETCAP, unsafe.Pointer(&can)); err != nil {
		return fmt.Errorf("pps: ask %s: %w", s.path, classed(err))
	}
	if can&captureBoth == 0 || can&canWait == 0 {
		return fmt.Errorf("pps: ask %s: %w", s.path, ErrNoWait)
	}
	var p unix.PPSKParams
	if err := s.ioctl(s.fd, unix.PPS_GETPARAMS, unsafe.Pointer(&p)); err != nil {
		return fmt.Errorf("pps: ask %s: %w", s.path, classed(err))
	}
	if want := can & captureBoth; p.Mode&want != want {
		more := p
		more.Api_version, more.Mode = apiVersion, p.Mode&can|want
		if err := s.ioctl(s.fd, unix.PPS_SETPARAMS, unsafe.Pointer(&more)); err == nil {
			p = more
		} else if p.Mode&captureBoth == 0 {
			return fmt.Errorf("pps: have edges captured by %s: %w", s.path, classed(err))
		}
	}
	s.mode = p.Mode
	if p.Mode&offsetAssert != 0 {
		s.offset[Assert-1] = span(p.Assert_off_tu)
	}
	if p.Mode&offsetClear != 0 {
		s.offset[Clear-1] = span(p.Clear_off_tu)
	}
	return nil
}

func span(t unix.PPSKTime) time.Duration { return time.Duration(t.Sec*1e9 + int64(t.Nsec)) }

// Captures tells whether an edge is captured.
func (s *Source) Captures(e Edge) bool {
	return s.mode&map[Edge]int32{Assert: captureAssert, Clear: captureClear}[e] != 0
}

// Fetch waits for an edge, at most for timeout, and returns what has come since the
// last call, in the order in which it came: none, one or two stamps. What came before
// the first call is not returned. It holds a thread of the system meanwhile, and
// nothing but the timeout ends it: keep that at a few seconds.
func (s *Source) Fetch(timeout time.Duration) ([]Stamp, error) {
	var d unix.PPSFData
	if !s.seen {
		timeout = 0 // only to learn the numbers
	}
	d.Timeout = unix.PPSKTime{Sec: int64(timeout / time.Second), Nsec: int32(timeout % time.Second)}
	err := s.ioctl(s.fd, unix.PPS_FETCH, unsafe.Pointer(&d))
	switch {
	case errors.Is(err, unix.ETIMEDOUT), errors.Is(err, unix.EINTR):
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("pps: read %s: %w", s.path, classed(err))
	}
	return s.fresh(&d.Info), nil
}

// fresh picks the stamps that were not seen before.
func (s *Source) fresh(k *unix.PPSKInfo) []Stamp {
	now := [2]uint32{k.Assert_sequence, k.Clear_sequence}
	at := [2]unix.PPSKTime{k.Assert_tu, k.Clear_tu}
	last, seen := s.last, s.seen
	s.last, s.seen = now, true
	if !seen {
		return nil
	}
	var out []Stamp
	for i := range now {
		if n := now[i] - last[i]; n != 0 {
			out = append(out, Stamp{Edge: Edge(i + 1), System: timescale.UTC(span(at[i]) - s.offset[i]), Missed: int(n - 1)})
		}
	}
	if len(out) == 2 && out[1].System < out[0].System {
		out[0], out[1] = out[1], out[0]
	}
	return out
}

// Close lets go of the device. It must not be called while Fetch waits.
func (s *Source) Close() error {
	if err := unix.Close(s.fd); err != nil {
		return fmt.Errorf("pps: close %s: %w", s.path, err)
	}
	return nil
}
