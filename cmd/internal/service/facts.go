package service

import (
	"fmt"
	"io/fs"
	"strconv"
	"strings"

	"noonmark/status/page"
)

// facts reads what sysfs tells about warmth and power. What is not told is left
// out. Units: Documentation/ABI/testing/sysfs-class-thermal, sysfs-class-power and
// hwmon/sysfs-interface.rst of Linux: millidegrees, per cent.
func facts(sys fs.FS) []page.Row {
	word := func(name string) string {
		b, _ := fs.ReadFile(sys, name)
		return strings.TrimSpace(string(b))
	}
	var rows []page.Row
	add := func(name, value string) {
		if value != "" {
			rows = append(rows, page.Row{Name: name, Value: value})
		}
	}
	if z, _ := processorZone(sys); z != "" {
		add("Processor", degrees(word(z+"/temp")))
	}
	sensors, _ := fs.Glob(sys, "class/hwmon/hwmon*")
	for _, s := range sensors {
		if clockSensor(word(s + "/name")) {
			add("Hardware clock", degrees(word(s+"/temp1_input")))
		}
	}
	supplies, _ := fs.Glob(sys, "class/power_supply/*")
	for _, s := range supplies {
		if word(s+"/type") != "Battery" || word(s+"/scope") == "Device" { // not a mouse's
			continue
		}
		value := strings.ToLower(word(s + "/status"))
		if c, err := strconv.Atoi(word(s + "/capacity")); err == nil {
			value = strings.TrimSuffix(fmt.Sprintf("%d %%, %s", c, value), ", ")
		}
		add("Battery", value)
	}
	return rows
}

// processorZone finds the processor's thermal zone, "" if there is none, and its kind.
func processorZone(sys fs.FS) (dir, kind string) {
	zones, _ := fs.Glob(sys, "class/thermal/thermal_zone*")
	for _, z := range zones {
		b, _ := fs.ReadFile(sys, z+"/type")
		for _, part := range []string{"cpu", "soc", "x86_pkg"} {
			if kind := strings.TrimSpace(string(b)); strings.Contains(kind, part) {
				return z, kind
			}
		}
	}
	return "", ""
}

// degrees words millidegrees Celsius, "" if it is no number.
func degrees(text string) string {
	n, err := strconv.Atoi(text)
	if err != nil {
		return ""
	}
	return strings.Replace(fmt.Sprintf("%.0f °C", float64(n)/1000), "-", "−", 1)
}

// clockSensor tells the thermometers of hardware clocks by the names their
// drivers give (from memory of drivers/rtc).
func clockSensor(name string) bool {
	for _, chip := range []string{"ds3231", "ds3232", "ds3234", "rv3029", "rv3032"} {
		if strings.HasPrefix(name, chip) {
			return true
		}
	}
	return false
}
