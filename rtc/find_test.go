package rtc

import (
	"errors"
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"
)

func TestFindNone(t *testing.T) {
	for name, tree := range map[string]fstest.MapFS{
		"no class":     {"class/net/lo": {}},
		"empty class":  {"class/rtc": {Mode: fs.ModeDir}},
		"other things": {"class/rtc/rtcX/name": {}, "class/rtc/clock0/name": {}, "class/rtc/rtc-1/name": {}},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := Find(tree)
			if len(got) != 0 || !errors.Is(err, ErrAbsent) || !strings.Contains(err.Error(), "no driver is loaded") {
				t.Errorf("got %v, %v", got, err)
			}
		})
	}
	if _, err := Find(failing{}); !errors.Is(err, fs.ErrPermission) || errors.Is(err, ErrAbsent) {
		t.Errorf("unreadable tree: %v", err)
	}
}

type failing struct{}

func (failing) Open(name string) (fs.File, error) {
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrPermission}
}

// File contents as Documentation/ABI/testing/sysfs-class-rtc of Linux 6.1 and
// drivers/rtc/sysfs.c print them.
func TestFind(t *testing.T) {
	file := func(s string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(s)} }
	got, err := Find(fstest.MapFS{
		"class/rtc/rtc10/name":   file("rtc-pcf8523 1-0068\n"),
		"class/rtc/rtc10/offset": file("-4340\n"),
		"class/rtc/rtc2/name":    file("rtc-rv3028 1-0052\n"),
		"class/rtc/rtc2/offset":  file("rubbish\n"),
		"class/rtc/rtc3/hctosys": file("1\n"),
		"class/rtc/rtc0/hctosys": file("0\n"),
		"class/rtc/rtc0/name":    file("rpi-rtc soc:rpi_rtc\n"),
	})
	want := []Info{
		{Path: "/dev/rtc3", BootedBy: true},
		{Path: "/dev/rtc0", Chip: "rpi-rtc soc:rpi_rtc"},
		{Path: "/dev/rtc2", Chip: "rtc-rv3028 1-0052"},
		{Path: "/dev/rtc10", Chip: "rtc-pcf8523 1-0068", OffsetPPB: -4340, OffsetKnown: true},
	}
	if err != nil || len(got) != len(want) {
		t.Fatalf("got %+v, %v", got, err)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%d: got %+v, want %+v", i, got[i], want[i])
		}
	}
}

func TestCompensated(t *testing.T) {
	for chip, want := range map[string]bool{"": false, "rtc-ds1307 1-0068": false, "rtc-rv8803 1-0032": true, "rtc-pcf2127 spi0.0": true, "rtc-ds3232 1-0068": true} {
		if got := (Info{Chip: chip}).Compensated(); got != want {
			t.Errorf("%q: %v", chip, got)
		}
	}
}
