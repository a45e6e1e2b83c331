package preflight

import (
	"fmt"
	"io/fs"
	"os"
	"path"
	"strconv"
	"strings"

	"noonmark/status"
)

// Supply is a battery of the computer, as the kernel's power_supply class has it (kernel:
// Documentation/ABI/testing/sysfs-class-power).
type Supply struct {
	Status string       // Charging, Discharging, Not charging, Full, Unknown
	Level  string       // Critical, Low, Normal, High, Full, Unknown; "" = not said
	Full   status.Float // %, 0 to 100
	LastsS status.Float // s at the present drain; known while it discharges
}

// batteries are those of the computer itself in sysfs: what feeds a mouse (scope Device),
// and an empty bay (present 0), are left out. No class, no battery: a fault of reading is
// an attribute that is not known.
func batteries(sysfs fs.FS) (out []Supply) {
	const class = "class/power_supply"
	entries, err := fs.ReadDir(sysfs, class)
	if err != nil {
		return nil
	}
	for _, e := range entries {
		text := func(name string) string {
			b, _ := fs.ReadFile(sysfs, path.Join(class, e.Name(), name))
			return strings.TrimSpace(string(b))
		}
		if text("type") != "Battery" || text("scope") == "Device" || text("present") == "0" {
			continue
		}
		number := func(name string) status.Float {
			v, err := strconv.ParseFloat(text(name), 64)
			return status.Float{V: v, OK: err == nil && v >= 0}
		}
		s := Supply{Status: text("status"), Level: text("capacity_level"), Full: number("capacity")}
		s.Full.OK = s.Full.OK && s.Full.V <= 100
		// µWh and µW, or µAh and µA: either ratio is hours.
		for _, of := range [][2]string{{"energy_now", "power_now"}, {"charge_now", "current_now"}} {
			if left, drain := number(of[0]), number(of[1]); s.Status == "Discharging" && !s.LastsS.OK && left.OK && drain.OK && drain.V > 0 {
				s.LastsS = status.Known(left.V / drain.V * 3600)
			}
		}
		out = append(out, s)
	}
	return out
}

// supply says how the computer's own batteries are. What is low is the kernel's word.
func (h *Host) supply() Finding {
	const check = "battery"
	all := batteries(os.DirFS(h.path("/sys")))
	if len(all) == 0 {
		return Finding{check, Note, "No battery is seen: the computer does not know how long its supply lasts.", ""}
	}
	var texts []string
	state, remedy := Good, ""
	for _, s := range all {
		text := "not known how full"
		if s.Full.OK {
			text = fmt.Sprintf("%.0f %% full", s.Full.V)
		}
		if s.Status != "" && s.Status != "Unknown" && s.Status != "Full" {
			text += ", " + strings.ToLower(s.Status)
		}
		if s.LastsS.OK {
			text += ", lasts " + status.Span(s.LastsS.V) + " at the present drain"
		}
		texts = append(texts, text)
		if s.Status != "Charging" && (s.Level == "Low" || s.Level == "Critical") {
			state, remedy = Problem, "Charge the battery before you leave."
		}
	}
	return Finding{check, state, "The computer's battery: " + strings.Join(texts, "; ") + ".", remedy}
}
