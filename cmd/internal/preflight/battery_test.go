package preflight

import (
	"strings"
	"testing"
)

// What the kernel says of batteries (sysfs-class-power), as a few machines have it.
func TestBattery(t *testing.T) {
	const bat = "sys/class/power_supply/BAT0/"
	for _, tt := range []struct {
		name  string
		files map[string]string
		state State
		want  string // of the text
		not   string
	}{
		{"critical", map[string]string{bat + "type": "Battery\n", bat + "status": "Discharging\n", bat + "capacity": "4\n", bat + "capacity_level": "Critical\n"}, Problem, "4 % full, discharging", "lasts"},
		{"low, and being charged", map[string]string{bat + "type": "Battery\n", bat + "status": "Charging\n", bat + "capacity": "9\n", bat + "capacity_level": "Low\n"}, Good, "9 % full, charging", "lasts"},
		{"garbage", map[string]string{bat + "type": "Battery", bat + "status": "Discharging", bat + "capacity": "1e9", bat + "energy_now": "-3", bat + "power_now": "x"}, Good, "not known how full, discharging", "lasts"},
		{"no drain", map[string]string{bat + "type": "Battery", bat + "status": "Discharging", bat + "capacity": "80", bat + "energy_now": "1", bat + "power_now": "0"}, Good, "80 % full", "lasts"},
		{"an empty bay", map[string]string{bat + "type": "Battery", bat + "present": "0"}, Note, "No battery is seen", ""},
		{"a mouse's", map[string]string{bat + "type": "Battery", bat + "scope": "Device", bat + "capacity": "7"}, Note, "No battery is seen", ""},
		{"mains", map[string]string{bat + "type": "Mains"}, Note, "No battery is seen", ""},
		{"none", nil, Note, "No battery is seen", ""},
		{"energy", map[string]string{bat + "type": "Battery\n", bat + "status": "Discharging\n", bat + "capacity": "62\n", bat + "energy_now": "30000000\n", bat + "power_now": "6000000\n"}, Good, "62 % full, discharging, lasts 5 h at", ""},
		{"charge", map[string]string{bat + "type": "Battery\n", bat + "status": "Discharging\n", bat + "capacity": "50\n", bat + "charge_now": "2000000\n", bat + "current_now": "500000\n"}, Good, "lasts 4 h at", ""},
		{"full", map[string]string{bat + "type": "Battery\n", bat + "status": "Full\n", bat + "capacity": "100\n", bat + "energy_now": "30000000\n", bat + "power_now": "6000000\n"}, Good, "100 % full.", "lasts"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h := Host{Root: t.TempDir()}
			put(t, h.Root, tt.files)
			f := h.supply()
			if f.State != tt.state || !strings.Contains(f.Text, tt.want) || tt.not != "" && strings.Contains(f.Text, tt.not) || (f.Remedy != "") != (f.State == Problem) {
				t.Errorf("got %+v", f)
			}
		})
	}
}
