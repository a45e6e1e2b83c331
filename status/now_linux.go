package status

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/sys/unix"

	"noonmark/clockcheck/timescale"
)

// bootIDPath is the kernel's name for this boot (random(4)).
const bootIDPath = "/proc/sys/kernel/random/boot_id"

// ReadNow takes the present from the kernel: the boot's name, and its clocks.
func ReadNow() (Now, error) {
	id, err := os.ReadFile(bootIDPath)
	if err != nil {
		return Now{}, fmt.Errorf("status: %w", err)
	}
	n := Now{BootID: strings.TrimSpace(string(id))}
	return n, n.Read()
}

// Read takes the clocks anew and keeps the boot's name; for whoever publishes
// every second. The others are read between two readings of the system clock;
// of up to five tries the one least interrupted counts.
func (n *Now) Read() error {
	best := int64(-1)
	for range 5 {
		before, mono, boot, after, err := fourClocks()
		if err != nil {
			return fmt.Errorf("status: read the clocks: %w", err)
		}
		width := after - before
		if width < 0 { // stepped back in between
			continue
		}
		if best < 0 || width < best {
			best = width
			n.System = timescale.UTC(before + width/2)
			n.BoottimeS = float64(boot) / float64(timescale.Second)
			n.AsleepS = Known(float64(max(boot-mono, 0)) / float64(timescale.Second))
		}
		if width < 20_000 {
			break
		}
	}
	if best < 0 {
		return errors.New("status: read the clocks: the system clock is being set over and over")
	}
	return nil
}

// fourClocks reads, in this order: system, the clock that stops in suspend, boot, and
// system again; nanoseconds.
func fourClocks() (before, mono, boot, after int64, err error) {
	var t [4]int64
	for i, id := range [4]int32{unix.CLOCK_REALTIME, unix.CLOCK_MONOTONIC, unix.CLOCK_BOOTTIME, unix.CLOCK_REALTIME} {
		if t[i], err = gettime(id); err != nil {
			return 0, 0, 0, 0, err
		}
	}
	return t[0], t[1], t[2], t[3], nil
}
