package rtc

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

func TestClassed(t *testing.T) {
	for _, tc := range []struct {
		err     error
		reading bool
		want    error // nil = none of the classes
	}{
		{syscall.ENOENT, false, ErrAbsent}, {syscall.ENODEV, false, ErrAbsent}, {syscall.ENXIO, false, ErrAbsent},
		{syscall.EACCES, false, ErrDenied}, {syscall.EPERM, true, ErrDenied},
		{syscall.EBUSY, false, ErrBusy},
		{syscall.EINVAL, true, ErrInvalid}, {syscall.EINVAL, false, nil},
		{syscall.EIO, true, nil},
	} {
		got := fmt.Errorf("rtc: read /dev/rtc0: %w", classed(tc.err, tc.reading))
		if !errors.Is(got, tc.err) {
			t.Errorf("%v: the system's error is lost in %q", tc.err, got)
		}
		for _, class := range []error{ErrAbsent, ErrDenied, ErrBusy, ErrInvalid} {
			if errors.Is(got, class) != (class == tc.want) {
				t.Errorf("%v (reading %v): %q, is %q: %v", tc.err, tc.reading, got, class, errors.Is(got, class))
			}
		}
	}
}

// The real opener, as far as a machine without a hardware clock lets it go.
func TestOpen(t *testing.T) {
	dir := t.TempDir()
	if _, err := Open(filepath.Join(dir, "rtc0")); !errors.Is(err, ErrAbsent) || !strings.HasPrefix(err.Error(), "rtc: open "+dir) {
		t.Errorf("missing node: %v", err)
	}
	plain := filepath.Join(dir, "plain")
	if err := os.WriteFile(plain, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	d, err := Open(plain)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.ReadTime(); !errors.Is(err, syscall.ENOTTY) || errors.Is(err, ErrInvalid) {
		t.Errorf("read of a plain file: %v", err)
	}
	if _, known, err := d.ReadFlags(); known || err != nil {
		t.Errorf("flags of a plain file: known %v, %v", known, err)
	}
	if updated, err := d.Wait(worthArming); updated || err != nil {
		t.Errorf("wait on a plain file: %v, %v", updated, err)
	}
	if err := d.Close(); err != nil {
		t.Error(err)
	}
	if d.Close() == nil {
		t.Error("second close: no error")
	}
}

func TestFlagsString(t *testing.T) {
	if got := (DataInvalid | BackupSwitch).String(); got != "time lost, has run on battery" {
		t.Errorf("got %q", got)
	}
	if got := Flags(0).String(); got != "" {
		t.Errorf("got %q", got)
	}
}
