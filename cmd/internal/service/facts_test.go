package service

import (
	"slices"
	"testing"
	"testing/fstest"

	"noonmark/status/page"
)

func TestFactsOfSysfs(t *testing.T) {
	sys := fstest.MapFS{}
	for name, text := range map[string]string{
		"class/thermal/thermal_zone0/type": "wifi", "class/thermal/thermal_zone0/temp": "99000",
		"class/thermal/thermal_zone1/type": "cpu-thermal", "class/thermal/thermal_zone1/temp": "41250",
		"class/hwmon/hwmon0/name": "nvme", "class/hwmon/hwmon0/temp1_input": "50000",
		"class/hwmon/hwmon1/name": "ds3231", "class/hwmon/hwmon1/temp1_input": "-12500",
		"class/power_supply/AC/type": "Mains", "class/power_supply/AC/online": "1",
		"class/power_supply/BAT0/type": "Battery", "class/power_supply/BAT0/capacity": "63", "class/power_supply/BAT0/status": "Discharging",
		"class/power_supply/mouse/type": "Battery", "class/power_supply/mouse/scope": "Device", "class/power_supply/mouse/capacity": "5",
		"class/power_supply/BAT1/type": "Battery", "class/power_supply/BAT1/capacity": "rubbish",
	} {
		sys[name] = &fstest.MapFile{Data: []byte(text + "\n")}
	}
	want := []page.Row{{Name: "Processor", Value: "41 °C"}, {Name: "Hardware clock", Value: "−12 °C"}, {Name: "Battery", Value: "63 %, discharging"}}
	if got := facts(sys); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if got := facts(fstest.MapFS{}); len(got) != 0 {
		t.Errorf("facts out of nothing: %q", got)
	}
}
