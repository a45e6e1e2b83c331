package preflight

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"golang.org/x/sys/unix"

	"noonmark/cmd/internal/config"
	"noonmark/gnss/port"
	"noonmark/rtc"
)

// receiver looks for the receiver without opening it.
func (h *Host) receiver(set config.Config) Finding {
	const check = "receiver"
	device := set.Receiver.Device
	if strings.Contains(device, "://") {
		return Finding{check, Good, "The receiver is to be heard at " + device + "; whether it sends is not tried here.", ""}
	}
	if device == "auto" {
		device = ""
		all, err := port.List(h.path("/sys"), h.path("/dev"))
		if err != nil {
			return Finding{check, Problem, "The ports cannot be listed: " + err.Error() + ".", "Run this on the station's own computer."}
		}
		for _, p := range all {
			if p.WouldOpen && device == "" {
				device = strings.TrimPrefix(p.Path, h.Root)
			}
		}
		if device == "" {
			return Finding{check, Problem, "No receiver is there that says it is one.",
				"Plug it in. If it is, name it in the settings (receiver.device); noonmark ports lists what there is."}
		}
	}
	switch err := unix.Access(h.path(device), unix.R_OK|unix.W_OK); {
	case errors.Is(err, unix.ENOENT):
		return Finding{check, Problem, "The receiver " + device + " is not there.", "Plug it in, or name another in the settings (receiver.device)."}
	case err != nil:
		return Finding{check, Problem, "This user may not open the receiver " + device + ".", "Put the user into the group of that device (often dialout) and log in again."}
	}
	return Finding{check, Good, "The receiver is " + device + ".", ""}
}

// hardwareClock reads the clock's own flags.
func (h *Host) hardwareClock(set config.Config) Finding {
	const check = "hardware clock"
	path := set.RTC.Device
	if path == "none" {
		return Finding{check, Note, "The hardware clock is switched off in the settings.", "Without one the time is lost at each power-off until satellites or a network give it."}
	}
	if path == "auto" {
		all, err := rtc.Find(os.DirFS(h.path("/sys")))
		if err != nil {
			return Finding{check, Note, "This computer has no hardware clock.",
				"It works without one; but the time is lost at each power-off until satellites give it. If it should have one, load its driver."}
		}
		path = all[0].Path
	}
	dev, err := h.openRTC(path)
	switch {
	case errors.Is(err, rtc.ErrDenied):
		return Finding{check, Problem, "This user may not read " + path + ".", "Run noonmark as its service, or give this user's group the right to it."}
	case errors.Is(err, rtc.ErrBusy) && h.Running:
		return Finding{check, Good, path + " is being read by noonmark's own service, as it should be; noonmark why tells what it says.", ""}
	case errors.Is(err, rtc.ErrBusy):
		return Finding{check, Note, path + " is held open by another program.", "Try again; if it stays so, stop the other program."}
	case errors.Is(err, rtc.ErrAbsent):
		return Finding{check, Problem, path + " is not there.", "Name the right one in the settings (rtc.device), or load its driver."}
	case err != nil:
		return Finding{check, Problem, path + " cannot be opened: " + err.Error() + ".", "Look at its wiring and its driver."}
	}
	defer dev.Close()
	return h.battery(path, dev)
}

// rtcTries: the service holds the clock open for the seconds in which it looks for an
// edge, most often at its start.
const rtcTries = 5

// openRTC waits for a clock that is held open.
func (h *Host) openRTC(path string) (dev rtc.Device, err error) {
	for range rtcTries {
		if dev, err = h.OpenRTC(path); !errors.Is(err, rtc.ErrBusy) || h.Wait == nil {
			return dev, err
		}
		h.Wait()
	}
	return dev, err
}

// battery says what the clock says of its supply.
func (h *Host) battery(path string, dev rtc.Device) Finding {
	const check = "hardware clock"
	const change = "Change its battery, then let noonmark set it, or it will be wrong after the next power-off."
	f, err := dev.ReadTime()
	if errors.Is(err, rtc.ErrInvalid) {
		return Finding{check, Problem, path + " says that it has lost its time: its battery is empty or missing.", change}
	}
	if err != nil {
		return Finding{check, Problem, path + " cannot be read: " + err.Error() + ".", "Look at its wiring and its driver."}
	}
	flags, known, err := dev.ReadFlags()
	bad := flags & (rtc.DataInvalid | rtc.BackupLow | rtc.BackupEmpty)
	if err == nil && known && bad != 0 {
		return Finding{check, Problem, path + " says: " + bad.String() + ".", change}
	}
	shows := fmt.Sprintf("%04d-%02d-%02d %02d:%02d", f.Year+1900, f.Month+1, f.Day, f.Hour, f.Min)
	if u, err := f.UTC(); err != nil || u < h.Now.Add(-366*24*3600e9) {
		return Finding{check, Problem, path + " shows " + shows + ", which cannot be: its battery is empty, or it was never set.", change}
	}
	if !known {
		return Finding{check, Note, path + " shows " + shows + "; its driver cannot tell the state of the battery.",
			"Look after a night without power whether it has kept its time."}
	}
	return Finding{check, Good, path + " shows " + shows + ", and its battery is good.", ""}
}

// right looks whether the clock could be set.
func (h *Host) right(set config.Config) Finding {
	const check = "right to set the clock"
	if !set.Clock.Steer {
		return Finding{check, Note, "noonmark only watches the clock (clock.steer is false in the settings).", ""}
	}
	text, err := os.ReadFile(h.path("/proc/self/status"))
	if err != nil {
		return Finding{check, Note, "What this user may do cannot be told: " + errText(err) + ".", ""}
	}
	for line := range strings.Lines(string(text)) {
		var set uint64
		if n, _ := fmt.Sscanf(line, "CapEff: %x", &set); n == 1 && set&(1<<unix.CAP_SYS_TIME) != 0 {
			return Finding{check, Good, "This user may set the clock.", ""}
		}
	}
	return Finding{check, Problem, "This user may not set the clock (CAP_SYS_TIME).", "Run noonmark as its service; or ask as that: sudo noonmark preflight."}
}

func errText(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Path + ": " + p.Err.Error()
	}
	return err.Error()
}
