package pps

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"noonmark/clockcheck/timescale"
)

// kernel answers the calls as Linux does (drivers/pps/pps.c): what may be set, by whom,
// and that a fetch returns the last edge of each kind with its number.
type kernel struct {
	t       *testing.T
	can     int32
	params  unix.PPSKParams
	capable bool
	info    unix.PPSKInfo
	waited  time.Duration
	during  func() // what happens while a fetch waits
	fail    error
}

func (k *kernel) ioctl(fd int, request uintptr, arg unsafe.Pointer) error {
	if k.fail != nil {
		return k.fail
	}
	switch request {
	case unix.PPS_GETCAP:
		*(*int32)(arg) = k.can
	case unix.PPS_GETPARAMS:
		*(*unix.PPSKParams)(arg) = k.params
	case unix.PPS_SETPARAMS:
		p := *(*unix.PPSKParams)(arg)
		switch {
		case !k.capable:
			return unix.EPERM
		case p.Mode&captureBoth == 0 || p.Mode&^k.can != 0 || p.Api_version != 1:
			return unix.EINVAL
		}
		k.params = p
	case unix.PPS_FETCH:
		d := (*unix.PPSFData)(arg)
		if d.Timeout.Flags != 0 {
			k.t.Error("a fetch that would wait for ever")
		}
		k.waited = span(d.Timeout)
		before := k.info
		if k.during != nil && k.waited > 0 {
			k.during()
			if k.info == before {
				return unix.ETIMEDOUT
			}
		}
		d.Info = k.info
	default:
		return unix.ENOTTY
	}
	return nil
}

func (k *kernel) edge(e Edge, at timescale.UTC) {
	t := unix.PPSKTime{Sec: int64(at) / 1e9, Nsec: int32(int64(at) % 1e9)}
	if e == Assert {
		k.info.Assert_sequence, k.info.Assert_tu = k.info.Assert_sequence+1, t
	} else {
		k.info.Clear_sequence, k.info.Clear_tu = k.info.Clear_sequence+1, t
	}
}

func source(k *kernel) (*Source, error) {
	s := &Source{path: "/dev/pps9", fd: -1, ioctl: k.ioctl}
	return s, s.setUp()
}

const begin = timescale.UTC(1_925_000_000_000_000_000)

func TestBothEdgesAreWanted(t *testing.T) {
	for _, row := range []struct {
		name          string
		can, mode     int32
		capable       bool
		assert, clear bool
	}{
		{"a pin that has assert by default", captureBoth | canWait | 0x30 | 0x1000, captureAssert | 0x1000, true, true, true},
		{"the same, without the right", captureBoth | canWait | 0x1000, captureAssert, false, true, false},
		{"a line discipline has both", captureBoth | canWait | 0x30 | 0x1000, captureBoth | 0x30, false, true, true},
		{"assert only", captureAssert | canWait, captureAssert, true, true, false},
	} {
		k := &kernel{t: t, can: row.can, params: unix.PPSKParams{Api_version: 1, Mode: row.mode}, capable: row.capable}
		s, err := source(k)
		if err != nil || s.Captures(Assert) != row.assert || s.Captures(Clear) != row.clear {
			t.Errorf("%s: mode %#x, %v", row.name, s.mode, err)
		}
	}
}

func TestUseless(t *testing.T) {
	for name, k := range map[string]*kernel{
		"cannot wait":      {can: captureBoth},
		"captures nothing": {can: canWait},
		"no pulse device":  {fail: unix.ENOTTY},
		"may not be told":  {can: captureBoth | canWait},
	} {
		_, err := source(k)
		if err == nil || !strings.Contains(err.Error(), "/dev/pps9") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestFetch(t *testing.T) {
	k := &kernel{t: t, can: captureBoth | canWait, params: unix.PPSKParams{Mode: captureBoth}}
	k.edge(Assert, begin-5e9) // long ago
	s, err := source(k)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := s.Fetch(2 * time.Second); len(got) != 0 || err != nil || k.waited != 0 {
		t.Fatalf("an edge from before the opening: %v, %v, waited %v", got, err, k.waited)
	}
	k.during = func() { k.edge(Assert, begin+1234) }
	got, err := s.Fetch(1500 * time.Millisecond)
	if err != nil || len(got) != 1 || got[0] != (Stamp{Assert, begin + 1234, 0}) || k.waited != 1500*time.Millisecond {
		t.Fatalf("%v, %v, waited %v", got, err, k.waited)
	}
	k.during = func() { // we were away for two seconds; the clear edge came last
		for i := range timescale.UTC(2) {
			k.edge(Assert, begin+1e9*(i+1))
			k.edge(Clear, begin+1e9*(i+1)+1e8)
		}
	}
	got, _ = s.Fetch(time.Second)
	if len(got) != 2 || got[0] != (Stamp{Assert, begin + 2e9, 1}) || got[1] != (Stamp{Clear, begin + 21e8, 1}) {
		t.Fatalf("%v", got)
	}
	k.during = func() { k.edge(Clear, begin+31e8-2); k.edge(Assert, begin+31e8) } // the other order
	if got, _ = s.Fetch(time.Second); len(got) != 2 || got[0].Edge != Clear {
		t.Fatalf("%v", got)
	}
	k.during = func() {}
	if got, err = s.Fetch(time.Second); len(got) != 0 || err != nil {
		t.Fatalf("a silent line: %v, %v", got, err)
	}
	k.fail = unix.EINTR
	if got, err = s.Fetch(time.Second); len(got) != 0 || err != nil {
		t.Fatalf("a signal: %v, %v", got, err)
	}
	k.fail = unix.ENODEV
	if _, err = s.Fetch(time.Second); !errors.Is(err, ErrAbsent) {
		t.Fatalf("unplugged: %v", err)
	}
}

// The numbers wrap; an offset that another program set is taken out again.
func TestWrapAndOffset(t *testing.T) {
	k := &kernel{t: t, can: captureBoth | canWait | offsetAssert,
		params: unix.PPSKParams{Mode: captureBoth | offsetAssert, Assert_off_tu: unix.PPSKTime{Sec: -1, Nsec: 999_999_000}}}
	k.info.Assert_sequence = 1<<32 - 1
	s, _ := source(k)
	s.Fetch(0)
	k.during = func() { k.edge(Assert, begin-1000) }
	if got, err := s.Fetch(time.Second); err != nil || len(got) != 1 || got[0] != (Stamp{Assert, begin, 0}) {
		t.Fatalf("%v, %v", got, err)
	}
}

func TestOpenErrors(t *testing.T) {
	if _, err := Open("/dev/no-such-pulse"); !errors.Is(err, ErrAbsent) {
		t.Errorf("%v", err)
	}
	if _, err := Open("/dev/null"); !errors.Is(err, ErrNoWait) {
		t.Errorf("no pulse device: %v", err)
	}
	if os.Getuid() != 0 {
		path := t.TempDir() + "/pps0"
		if err := os.WriteFile(path, nil, 0); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(path); !errors.Is(err, ErrDenied) {
			t.Errorf("%v", err)
		}
	}
}

// Layouts of linux/pps.h, computed by a C compiler on amd64 and arm: 64 bytes with the
// time-out at 48. On 386 int64 is aligned to 4 bytes, and the kernel takes that in.
func TestLayout(t *testing.T) {
	size, at := uintptr(64), uintptr(48)
	if unsafe.Alignof(int64(0)) == 4 && unsafe.Sizeof(uintptr(0)) == 4 && unsafe.Sizeof(unix.PPSKInfo{}) == 44 {
		size, at = 60, 44
	}
	var d unix.PPSFData
	if unsafe.Sizeof(d) != size || unsafe.Offsetof(d.Timeout) != at || unsafe.Sizeof(unix.PPSKParams{}) != 40 {
		t.Errorf("fetch %d bytes, time-out at %d, parameters %d bytes", unsafe.Sizeof(d), unsafe.Offsetof(d.Timeout), unsafe.Sizeof(unix.PPSKParams{}))
	}
}
