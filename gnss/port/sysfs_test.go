package port

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestWhatWouldBeOpened is the safety rule of doc.go as a table. The layout of
// the fake sysfs follows Linux, Documentation/ABI/testing/sysfs-tty and
// sysfs-bus-usb (from memory), and a look at a real machine.
func TestWhatWouldBeOpened(t *testing.T) {
	sys, dev := t.TempDir(), t.TempDir()
	usbPort(t, sys, "ttyUSB0", "1-1.1", "ftdi_sio", "0403", "6001", "A9X0Q2ZT")
	usbPort(t, sys, "ttyUSB1", "1-1.2", "cp210x", "10c4", "ea60", "0001")
	usbPort(t, sys, "ttyUSB2", "1-1.3", "ch341-uart", "1a86", "7523", "")
	usbPort(t, sys, "ttyUSB3", "1-1.4", "pl2303", "067B", "2303", "")
	usbPort(t, sys, "ttyUSB4", "1-1.5", "cp210x", "1fff", "0001", "")      // the chip under another vendor's number
	usbPort(t, sys, "ttyACM0", "1-1.6", "cdc_acm", "1546", "1102", "")     // a receiver maker's modem
	usbPort(t, sys, "ttyACM1", "1-1.7", "cdc_acm", "1a86", "55d4", "0")    // a bridge that speaks CDC
	usbPort(t, sys, "ttyACM2", "1-2.1", "cdc_acm", "0c26", "0036", "0303") // something unknown, perhaps a radio
	usbPort(t, sys, "ttyACM3", "1-2.2", "cdc_acm", "1546", "01a8", "")
	usbPort(t, sys, "ttyACM4", "1-2.3", "cdc_acm", "1546", "01A7", "")
	usbPort(t, sys, "ttyUSB5", "1-2.4", "ftdi_sio", "0403", "6015", "D30AB12C") // named by a udev rule
	tree(t, sys, map[string]string{
		"devices/pnp0/00:05/tty/x":     "",
		"class/tty/ttyS0/device":       "->../../../devices/pnp0/00:05",
		"class/tty/ttyS0/type":         "4",
		"class/tty/ttyS1/device":       "->../../../devices/pnp0/00:05",
		"class/tty/ttyS1/type":         "0", // the 8250 driver's unused entry
		"class/tty/ttyAMA0/device":     "->../../../devices/pnp0/00:05",
		"class/tty/tty1/dev":           "4:1",                     // a console: no device
		"class/tty/ttyUSB9/device":     "->../../../devices/gone", // vanished
		"class/tty/console/active":     "tty0 ttyAMA0",
		"devices/platform/uart/gnss/x": "",
		"class/gnss/gnss0/device":      "->../../../devices/platform/uart",
	})
	tree(t, dev, map[string]string{
		"serial/by-id/usb-a_cable-if00-port0": "->../../ttyUSB0",
		"ttyUSB5":                             "",
		"noonmark-receiver":                   "->ttyUSB5",
	})
	want := map[string]struct {
		open bool
		why  string
	}{
		"ttyUSB0": {false, "same chip"},
		"ttyUSB1": {false, "same chip"},
		"ttyUSB2": {false, "same chip"},
		"ttyUSB3": {false, "same chip"},
		"ttyUSB4": {false, "same chip"},
		"ttyACM0": {false, "does not name a GNSS receiver"},
		"ttyACM1": {false, "same chip"},
		"ttyACM2": {false, "does not name a GNSS receiver"},
		"ttyS0":   {false, "nothing tells what is wired to it"},
		"ttyAMA0": {false, "system console"},
		"ttyACM3": {true, "GNSS receivers only"},
		"ttyACM4": {true, "GNSS receivers only"},
		"gnss0":   {true, "the kernel itself"},
		"ttyUSB5": {true, "/dev/noonmark-receiver"},
	}
	list, err := List(sys, dev)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, in := range list {
		name := filepath.Base(in.Path)
		w, ok := want[name]
		if !ok {
			t.Errorf("%s is listed", name)
			continue
		}
		seen[name] = true
		verdict := map[bool]string{true: "would open", false: "would not open"}[w.open]
		if in.WouldOpen != w.open || in.Verdict != verdict || !strings.Contains(in.Why, w.why) {
			t.Errorf("%s: %s (%s), want %s (…%s…)", name, in.Verdict, in.Why, verdict, w.why)
		}
		if !w.open && !strings.Contains(in.Why, `device = "`) {
			t.Errorf("%s: no remedy in %q", name, in.Why)
		}
	}
	if len(seen) != len(want) {
		t.Errorf("listed %d ports, want %d: %v", len(seen), len(want), seen)
	}
	if in := list[len(list)-6]; in.Path != filepath.Join(dev, "ttyUSB0") || in.Serial != "A9X0Q2ZT" || in.Socket != "1-1.1" ||
		in.Part != "1.0" || in.Driver != "ftdi_sio" || !strings.HasSuffix(in.ByID, "by-id/usb-a_cable-if00-port0") || !strings.Contains(in.Why, in.ByID) {
		t.Errorf("details: %+v", in)
	}
}

func TestListWithoutSysfs(t *testing.T) {
	if _, err := List(filepath.Join(t.TempDir(), "none"), "/dev"); err == nil {
		t.Fatal("no error")
	}
	if _, err := List("/sys", "/dev"); err != nil {
		t.Fatal(err)
	}
}

// TestPin: which device may stand under a name that delivered before.
func TestPin(t *testing.T) {
	cable := Identity{Name: "/dev/ttyUSB0", VID: "10c4", PID: "ea60", Serial: "0001", Socket: "1-1.2", Part: "1.0"}
	own := cable
	own.Serial = "Q7K2M4"
	change := func(id Identity, f func(*Identity)) Identity { f(&id); return id }
	for _, c := range []struct {
		name     string
		pin, now Identity
		refused  string
	}{
		{"other product", cable, change(cable, func(i *Identity) { i.PID = "ea70" }), "another device"},
		{"no longer USB", cable, Identity{Name: cable.Name}, "another device"},
		{"now USB", Identity{Name: cable.Name}, cable, "another device"},
		{"other serial", own, change(own, func(i *Identity) { i.Serial = "Q7K2M5" }), "serial number"},
		{"other half of a double adapter", own, change(own, func(i *Identity) { i.Part = "1.1" }), "port 1.1"},
		{"other socket, everybody's serial", cable, change(cable, func(i *Identity) { i.Socket = "1-1.3" }), "socket"},
		{"other socket, no serial", change(cable, func(i *Identity) { i.Serial = "" }),
			change(cable, func(i *Identity) { i.Serial, i.Socket = "", "1-1.3" }), "socket"},
		{"other socket, own serial", own, change(own, func(i *Identity) { i.Socket = "1-1.3" }), ""},
		{"the same", cable, cable, ""},
		{"nothing pinned", Identity{}, cable, ""},
		{"pinned under another name", change(cable, func(i *Identity) { i.Name = "/dev/ttyUSB1"; i.PID = "1" }), cable, ""},
		{"not USB at all", Identity{Name: "/dev/ttyS0"}, Identity{Name: "/dev/ttyS0"}, ""},
	} {
		got := c.pin.refusal(c.now)
		if (got == "") != (c.refused == "") || !strings.Contains(got, c.refused) {
			t.Errorf("%s: %q, want …%s…", c.name, got, c.refused)
		}
	}
}

func TestDistinct(t *testing.T) {
	for s, want := range map[string]bool{"": false, "0001": false, "00000000": false, "123456": false, "1234567890": false, "A9X0Q2ZT": true} {
		if distinct(s) != want {
			t.Errorf("distinct(%q) = %v", s, !want)
		}
	}
}

// TestNoEnumerator holds that no serial library comes in by the back door: its
// enumerator opens and reprograms ports.
func TestNoEnumerator(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) < 5 {
		t.Fatalf("%v %v", files, err)
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(b), `go.bug.st/serial/`+`enumerator`) || strings.Contains(string(b), "GetPorts"+"List") {
			t.Errorf("%s uses the serial library's enumerator", f)
		}
	}
}
