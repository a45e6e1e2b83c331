package pps

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
)

// Info describes a pulse device the kernel knows.
type Info struct {
	Path string // the device node, "/dev/pps0"
	Name string // of the driver's own, "pps@12.-1"
	TTY  string // the port whose line carries the pulse, "/dev/ttyS0", or ""
}

// List lists the pulse devices by name. sysfs is the tree mounted at /sys. It opens
// none. Source of the files' meaning: Linux, Documentation/ABI/testing/sysfs-pps.
func List(sysfs fs.FS) ([]Info, error) {
	const class = "class/pps"
	entries, err := fs.ReadDir(sysfs, class)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("pps: list /sys/%s: %w", class, err)
	}
	var all []Info
	for _, e := range entries {
		text := func(name string) string {
			b, _ := fs.ReadFile(sysfs, path.Join(class, e.Name(), name))
			return strings.TrimSpace(string(b))
		}
		all = append(all, Info{Path: "/dev/" + e.Name(), Name: text("name"), TTY: text("path")})
	}
	slices.SortFunc(all, func(a, b Info) int { return strings.Compare(a.Path, b.Path) })
	return all, nil
}

// ofNoReceiver tells the sources that are nobody's pulse: the kernel's own timer, which
// would have the system clock confirm itself, and network cards.
func (i Info) ofNoReceiver() bool {
	return i.Name == "ktimer" || strings.HasPrefix(i.Name, "ptp")
}

// Choose picks the pulse of the receiver on tty ("/dev/ttyS0", resolved; "" for one
// that has no port of this machine): the device that the kernel says hangs on that
// port, else the only one that hangs on none, such as a pin's. The error says why there
// is none to pick; it is ErrAbsent unless there are several.
func Choose(all []Info, tty string) (Info, error) {
	var loose []Info
	for _, i := range all {
		switch {
		case i.ofNoReceiver():
		case i.TTY != "" && i.TTY == tty:
			return i, nil
		case i.TTY == "" && tty != "":
			loose = append(loose, i)
		}
	}
	switch len(loose) {
	case 0:
		return Info{}, fmt.Errorf("pps: find: %w", ErrAbsent)
	case 1:
		return loose[0], nil
	}
	var names []string
	for _, i := range loose {
		names = append(names, i.Path)
	}
	return Info{}, fmt.Errorf("pps: find: there are several pulse devices (%s): name the receiver's in the settings, receiver.pps", strings.Join(names, ", "))
}
