package service

import (
	"testing"
	"testing/fstest"
)

func TestFindThermometer(t *testing.T) {
	files := func(paths ...string) fstest.MapFS {
		root := fstest.MapFS{}
		for i := 0; i < len(paths); i += 2 {
			root[paths[i]] = &fstest.MapFile{Data: []byte(paths[i+1] + "\n")}
		}
		return root
	}
	const chip, zone = "sys/class/rtc/rtc1/device/hwmon/hwmon3/temp1_input", "sys/class/thermal/thermal_zone1/temp"
	both := files(chip, "-12250", "sys/class/thermal/thermal_zone0/type", "wifi", "sys/class/thermal/thermal_zone0/temp", "99000",
		"sys/class/thermal/thermal_zone1/type", "cpu-thermal", zone, "41250", "sys/bus/w1/devices/28-1/temperature", "3500")
	for _, tt := range []struct {
		name, configured, rtc string
		root                  fstest.MapFS
		sensor                string // "" = none
		c                     float64
	}{
		{"nothing there", "auto", "/dev/rtc0", fstest.MapFS{}, "", 0},
		{"not wanted", "none", "/dev/rtc1", both, "", 0},
		{"only some other zone", "auto", "", files("sys/class/thermal/thermal_zone0/type", "wifi", "sys/class/thermal/thermal_zone0/temp", "99000"), "", 0},
		{"a chip that does not answer", "auto", "/dev/rtc1", files(chip, "rubbish"), "", 0},
		{"the hardware clock's", "auto", "/dev/rtc1", both, "the hardware clock's chip", -12.25},
		{"another hardware clock's", "auto", "/dev/rtc0", both, "the processor (cpu-thermal)", 41.25},
		{"no hardware clock", "auto", "", both, "the processor (cpu-thermal)", 41.25},
		{"named", "/sys/bus/../bus/w1/devices/28-1/temperature", "", both, "/sys/bus/w1/devices/28-1/temperature", 3.5},
	} {
		th := findThermometer(tt.root, tt.configured, tt.rtc)
		if th == nil {
			if tt.sensor != "" {
				t.Errorf("%s: none found", tt.name)
			}
			continue
		}
		r, err := th.read()
		if err != nil || r.Sensor != tt.sensor || r.C != tt.c || r.OfRTC != (tt.c < 0) {
			t.Errorf("%s: %+v, %v", tt.name, r, err)
		}
	}
	if _, err := findThermometer(both, "/sys/gone", "").read(); err == nil {
		t.Error("a named one that is not there was read")
	}
	if _, err := findThermometer(both, "/sys/class/thermal/thermal_zone0/type", "").read(); err == nil {
		t.Error("a word was read as a temperature")
	}
}
