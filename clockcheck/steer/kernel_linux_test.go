package steer

import (
	"errors"
	"math"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// A test program gets no clock to steer, whoever runs it.
func TestOpenRefusesInATest(t *testing.T) {
	if c, err := Open(); err == nil || c != nil {
		t.Fatal("a test program was given the machine's clock")
	}
}

// The layout, against linux/timex.h as golang.org/x/sys has it for 64-bit machines,
// where both are the same struct.
func TestLayout(t *testing.T) {
	var ours timex
	if n := unsafe.Sizeof(ours); n != 208 {
		t.Fatalf("%d bytes, want 208", n)
	}
	var theirs unix.Timex
	if unsafe.Sizeof(theirs) != 208 {
		t.Skip("a 32-bit machine: the library has the old struct")
	}
	for _, row := range []struct {
		name     string
		got, ref uintptr
	}{
		{"offset", unsafe.Offsetof(ours.Offset), unsafe.Offsetof(theirs.Offset)},
		{"freq", unsafe.Offsetof(ours.Freq), unsafe.Offsetof(theirs.Freq)},
		{"maxerror", unsafe.Offsetof(ours.Maxerror), unsafe.Offsetof(theirs.Maxerror)},
		{"esterror", unsafe.Offsetof(ours.Esterror), unsafe.Offsetof(theirs.Esterror)},
		{"status", unsafe.Offsetof(ours.Status), unsafe.Offsetof(theirs.Status)},
		{"constant", unsafe.Offsetof(ours.Constant), unsafe.Offsetof(theirs.Constant)},
		{"time", unsafe.Offsetof(ours.Sec), unsafe.Offsetof(theirs.Time)},
		{"tick", unsafe.Offsetof(ours.Tick), unsafe.Offsetof(theirs.Tick)},
		{"tai", unsafe.Offsetof(ours.Tai), unsafe.Offsetof(theirs.Tai)},
	} {
		if row.got != row.ref {
			t.Errorf("%s at %d, want %d", row.name, row.got, row.ref)
		}
	}
}

// Reading the kernel's state asks for nothing, and agrees with the library's own call.
func TestReadAgainstTheLibrary(t *testing.T) {
	calls := 0
	c := &SystemClock{call: func(x *timex) error {
		calls++
		if x.Modes != 0 && x.Modes != unix.ADJ_OFFSET_SS_READ {
			t.Fatalf("mode %#x: not a reading", x.Modes)
		}
		return adjtimex(x)
	}}
	k, err := c.Read()
	if err != nil {
		t.Skip(err) // a sandbox may forbid even this
	}
	var ref unix.Timex
	if _, err := unix.Adjtimex(&ref); err != nil {
		t.Fatal(err)
	}
	if d := math.Abs(k.FreqPPM - float64(ref.Freq)/65536); d > 1 {
		t.Errorf("frequency differs by %g ppm", d)
	}
	if k.TAI != int(ref.Tai) || k.Bits != Bits(ref.Status)&(ruled|announcedBits) || calls != 2 {
		t.Errorf("%+v, the library says status %#x, TAI %d", k, ref.Status, ref.Tai)
	}
}

// The modes and fields of adjtimex(2), clock_adjtime(2) and linux/timex.h.
func TestRequests(t *testing.T) {
	for _, row := range []struct {
		name string
		a    Actions
		want []timex
	}{
		{"nothing", Actions{}, nil},
		{"forward", Actions{Step: 1500 * time.Millisecond}, []timex{{Modes: 0x2100, Sec: 1, Usec: 500e6}}},
		{"back", Actions{Step: -250 * time.Millisecond}, []timex{{Modes: 0x2100, Sec: -1, Usec: 750e6}}},
		{"back a whole second", Actions{Step: -time.Second}, []timex{{Modes: 0x2100, Sec: -1, Usec: 0}}},
		{"turn", Actions{SetSlew: true, Slew: -1234 * time.Microsecond}, []timex{{Modes: 0x8001, Offset: -1234}}},
		{"end a turn", Actions{SetSlew: true}, []timex{{Modes: 0x8001}}},
		{"rate", Actions{SetFreq: true, FreqPPM: -12.5}, []timex{{Modes: 2, Freq: -819200}}},
		{"tell", Actions{SetStatus: true, Status: Status{Unsync: true, Insert: true, MaxError: 16 * time.Second, EstError: time.Millisecond}},
			[]timex{{Modes: 0x1c, Status: 0x50, Maxerror: 16e6, Esterror: 1000}}},
		{"tell TAI", Actions{SetStatus: true, Status: Status{Delete: true, TAI: 37}}, []timex{{Modes: 0x9c, Status: 0x20, Constant: 37}}},
		{"loop", Actions{ResetLoop: true}, []timex{{Modes: 0x4011, Status: 0xc1, Tick: 10000}, {Modes: 0x10, Status: 0x40}}},
	} {
		got := requests(&row.a)
		if len(got) != len(row.want) {
			t.Errorf("%s: %+v", row.name, got)
			continue
		}
		for i, w := range row.want {
			if got[i].timex != w || got[i].what == "" {
				t.Errorf("%s: %+v, want %+v", row.name, got[i], w)
			}
		}
	}
}

// A refusal ends the list, and keeps its class.
func TestApplyRefused(t *testing.T) {
	n := 0
	c := &SystemClock{call: func(*timex) error { n++; return ErrNotPermitted }}
	err := c.Apply(Actions{Step: time.Second, SetFreq: true})
	if !errors.Is(err, ErrNotPermitted) || n != 1 {
		t.Errorf("%v after %d calls", err, n)
	}
}
