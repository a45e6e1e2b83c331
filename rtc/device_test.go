package rtc_test

import (
	"context"
	"errors"
	"os"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
)

// The real clock of the machine, if it has one this user may read: edges are
// whole seconds of the local oscillator apart, within the brackets and 500 ppm.
// In a virtual machine this checks the kernel's own driver (rtc-cmos) as well.
func TestDevice(t *testing.T) {
	found, err := rtc.Find(os.DirFS("/sys"))
	if err != nil {
		t.Skip(err)
	}
	path := found[0].Path
	d, err := rtc.Open(path)
	if errors.Is(err, rtc.ErrDenied) || errors.Is(err, rtc.ErrAbsent) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	if _, err := rtc.Open(path); !errors.Is(err, rtc.ErrBusy) {
		t.Errorf("second opener: %v", err)
	}
	early := 0
	for range 3 {
		if up, err := d.Wait(1100 * time.Millisecond); err != nil {
			t.Error(err)
		} else if up {
			early++
		}
	}
	if err := d.Close(); err != nil {
		t.Error(err)
	}
	t.Logf("%+v, %d of 3 update interrupts", found[0], early)

	c := rtc.New(func() (rtc.Device, error) { return rtc.Open(path) }, raw, sleep)
	first, err := c.ReadEdge(t.Context(), 100*time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []time.Duration{100 * time.Millisecond, 2 * time.Millisecond, 2 * time.Millisecond} {
		begin := raw()
		r, err := c.ReadEdge(t.Context(), want)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("edge of %v ±%v, flags %q known %v, after %v", r.Value.Time(), r.Half, r.Flags, r.FlagsKnown, raw().Sub(begin))
		apart := r.Edge.Sub(first.Edge)
		if d := apart - r.Value.Sub(first.Value); d.Abs() > first.Half+r.Half+apart/2000 {
			t.Errorf("edges %v apart name seconds %v apart", apart, r.Value.Sub(first.Value))
		}
		time.Sleep(3 * time.Second)
	}
}

func raw() timescale.Local {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC_RAW, &ts); err != nil {
		panic(err)
	}
	return timescale.Local(ts.Nano())
}

func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}
