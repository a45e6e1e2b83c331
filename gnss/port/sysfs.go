package port

import (
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"
)

// Info describes a port of this machine, as sysfs tells it.
type Info struct {
	Path, ByID                    string // /dev/ttyUSB0; /dev/serial/by-id/…, or empty
	Driver                        string // of the kernel, or empty
	VID, PID                      string // USB, four hex digits, lower case, or empty
	Manufacturer, Product, Serial string // as the device itself says; may be anything
	Socket, Part                  string // as in Identity
	WouldOpen                     bool   // by "auto"
	Verdict                       string // "would open" or "would not open"
	Why                           string // one plain sentence
}

// List returns the serial ports and GNSS devices of this machine, by path,
// each with what "auto" would do with it and why. It reads sysfs (mounted at
// sysfs, usually "/sys") and the links below dev (usually "/dev"), and opens no
// device. A port that vanishes meanwhile is left out. The error is that of
// reading sysfs/class.
func List(sysfs, dev string) ([]Info, error) {
	if _, err := os.ReadDir(filepath.Join(sysfs, "class")); err != nil {
		return nil, fmt.Errorf("port: list ports: %w", err)
	}
	byID := links(filepath.Join(dev, "serial", "by-id"))
	named, _ := filepath.EvalSymlinks(filepath.Join(dev, givenName))
	console, _ := os.ReadFile(filepath.Join(sysfs, "class/tty/console/active"))
	var out []Info
	for _, class := range []string{"gnss", "tty"} {
		// A class without a device does not exist: no error.
		entries, _ := os.ReadDir(filepath.Join(sysfs, "class", class))
		for _, e := range entries {
			in, ok := inspect(sysfs, class, e.Name())
			if !ok {
				continue
			}
			in.Path = filepath.Join(dev, e.Name())
			in.ByID = byID[e.Name()]
			in.judge(class, named != "" && filepath.Base(named) == e.Name(),
				contains(strings.Fields(string(console)), e.Name()))
			out = append(out, in)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Path < out[j].Path })
	return out, nil
}

// givenName is the name in /dev that the package's udev rule, or a person,
// gives to the receiver.
const givenName = "noonmark-receiver"

// inspect reads what sysfs says of one device; false if there is no hardware
// behind it (consoles, ptys, unused entries of the 8250 driver have type 0).
func inspect(sysfs, class, name string) (Info, bool) {
	var in Info
	dir := filepath.Join(sysfs, "class", class, name)
	device, err := filepath.EvalSymlinks(filepath.Join(dir, "device"))
	if err != nil || attr(dir, "type") == "0" {
		return in, false
	}
	root, err := filepath.EvalSymlinks(sysfs)
	if err != nil {
		return in, false
	}
	port := attr(device, "port_number")
	for d := device; len(d) > len(root); d = filepath.Dir(d) {
		if link, err := os.Readlink(filepath.Join(d, "driver")); err == nil && in.Driver == "" {
			in.Driver = filepath.Base(link)
		}
		if _, part, ok := strings.Cut(filepath.Base(d), ":"); ok && attr(d, "bInterfaceNumber") != "" {
			in.Part = part
		}
		if vid := attr(d, "idVendor"); vid != "" {
			in.VID, in.PID = strings.ToLower(vid), strings.ToLower(attr(d, "idProduct"))
			in.Manufacturer, in.Product, in.Serial = attr(d, "manufacturer"), attr(d, "product"), attr(d, "serial")
			in.Socket = filepath.Base(d)
			break
		}
	}
	if in.VID == "" {
		in.Part = ""
	} else if port != "" && port != "0" {
		in.Part += "." + port
	}
	return in, true
}

// judge decides what "auto" does with the port. The order matters: what was
// named on purpose first, then what says it is a receiver.
func (in *Info) judge(class string, given, console bool) {
	name := in.ByID
	if name == "" {
		name = in.Path
	}
	remedy := fmt.Sprintf("name it in the configuration (device = %q) if it is the receiver", name)
	switch {
	case given:
		in.WouldOpen, in.Why = true, "/dev/"+givenName+" points to it"
	case class == "gnss":
		in.WouldOpen, in.Why = true, "the kernel itself says it is a GNSS receiver"
	case receivers[in.VID+":"+in.PID]:
		in.WouldOpen, in.Why = true, "its USB identity belongs to GNSS receivers only"
	case console:
		in.Why = "the system console runs on it: take it out of the kernel's command line first, then " + remedy
	case bridges[in.VID] || bridgeDrivers[in.Driver]:
		in.Why = "a radio's cable uses the same chip, and opening it could key the transmitter: " + remedy
	case in.VID != "":
		in.Why = "its USB identity does not name a GNSS receiver, and a radio's own port could key the transmitter: " + remedy
	default:
		in.Why = "nothing tells what is wired to it, and opening it could key a transmitter: " + remedy
	}
	in.Verdict = "would not open"
	if in.WouldOpen {
		in.Verdict = "would open"
	}
}

// links maps the last element of each link's target to the link.
func links(dir string) map[string]string {
	out := map[string]string{}
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		p := filepath.Join(dir, e.Name())
		if to, err := os.Readlink(p); err == nil {
			out[filepath.Base(to)] = p
		}
	}
	return out
}

// attr reads one attribute, or "" if there is none.
func attr(dir, name string) string {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
