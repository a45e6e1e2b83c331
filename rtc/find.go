package rtc

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"
)

// Info describes a hardware clock the kernel knows.
type Info struct {
	Path     string // the device node, "/dev/rtc0"
	Chip     string // driver and place, "rtc-ds1307 1-0068"; "" if not told
	BootedBy bool   // the kernel set the system clock from it at boot (hctosys)
	// OffsetPPB is the chip's own rate trim, parts per billion; positive makes
	// it slower. OffsetKnown is false where the chip has none.
	OffsetPPB   int64
	OffsetKnown bool
}

// Compensated tells whether the chip's driver serves temperature-compensated clocks
// only (data sheets: ±2 to ±3.5 ppm). A DS3231 shares its driver with plain
// crystals and is taken for one: wider, never falsely narrow.
func (i Info) Compensated() bool {
	for _, driver := range []string{"rtc-rv8803", "rtc-pcf2127", "rtc-ds3232"} {
		if strings.HasPrefix(i.Chip, driver) {
			return true
		}
	}
	return false
}

// Find lists the hardware clocks, the one the system booted by first, then by
// number. sysfs is the tree mounted at /sys. With none it returns ErrAbsent and
// what the lack means. It opens no clock. Source of the files' meaning: Linux,
// Documentation/ABI/testing/sysfs-class-rtc.
func Find(sysfs fs.FS) ([]Info, error) {
	const class = "class/rtc"
	entries, err := fs.ReadDir(sysfs, class)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("rtc: list /sys/%s: %w", class, err)
	}
	type found struct {
		n    int
		info Info
	}
	var all []found
	for _, e := range entries {
		digits, ok := strings.CutPrefix(e.Name(), "rtc")
		n, err := strconv.Atoi(digits)
		if !ok || err != nil || n < 0 {
			continue
		}
		all = append(all, found{n, infoOf(sysfs, path.Join(class, e.Name()))})
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("rtc: find: %w: this machine has none, or no driver is loaded (on a small board: its overlay)", ErrAbsent)
	}
	slices.SortFunc(all, func(a, b found) int {
		if a.info.BootedBy != b.info.BootedBy {
			if a.info.BootedBy {
				return -1
			}
			return 1
		}
		return a.n - b.n
	})
	infos := make([]Info, len(all))
	for i, f := range all {
		infos[i] = f.info
	}
	return infos, nil
}

// infoOf reads one clock's files; one that is missing leaves its field empty.
func infoOf(sysfs fs.FS, dir string) Info {
	text := func(name string) string {
		b, err := fs.ReadFile(sysfs, path.Join(dir, name))
		if err != nil {
			return ""
		}
		return strings.TrimSpace(string(b))
	}
	i := Info{Path: "/dev/" + path.Base(dir), Chip: text("name"), BootedBy: text("hctosys") == "1"}
	if ppb, err := strconv.ParseInt(text("offset"), 10, 64); err == nil {
		i.OffsetPPB, i.OffsetKnown = ppb, true
	}
	return i
}
