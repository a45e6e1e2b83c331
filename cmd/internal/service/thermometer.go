package service

import (
	"context"
	"fmt"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/sleep"
)

const temperatureEvery = time.Minute

// thermometer is a file of sysfs that holds millidegrees Celsius (hwmon/sysfs-interface.rst
// and ABI/testing/sysfs-class-thermal of Linux; also that of the 1-wire bus).
type thermometer struct {
	root fs.FS // "/"
	file string
	name string // that stays the same over a boot, where one was found
	rtc  bool   // the hardware clock's
}

// findThermometer takes what the settings name. "auto" takes that of the hardware
// clock's chip, for it lies beside the computer, not in the processor's heat; else the
// processor's. nil = there is none, or none is wanted.
func findThermometer(root fs.FS, configured, rtcPath string) *thermometer {
	switch configured {
	case "none":
		return nil
	case "auto":
	default:
		file := filepath.Clean(configured)
		return &thermometer{root, strings.TrimPrefix(file, "/"), file, false}
	}
	sys, err := fs.Sub(root, "sys")
	if err != nil {
		return nil
	}
	if rtcPath != "" {
		chips, _ := fs.Glob(sys, filepath.Join("class/rtc", filepath.Base(rtcPath), "device/hwmon/hwmon*"))
		for _, c := range chips {
			if t := (&thermometer{root, filepath.Join("sys", c, "temp1_input"), "the hardware clock's chip", true}); t.works() {
				return t
			}
		}
	}
	if z, kind := processorZone(sys); z != "" {
		if t := (&thermometer{root, filepath.Join("sys", z, "temp"), "the processor (" + kind + ")", false}); t.works() {
			return t
		}
	}
	return nil
}

func (t *thermometer) works() bool { _, err := t.read(); return err == nil }

// read reads it once. It may take as long as the chip's bus does.
func (t *thermometer) read() (r clockcheck.Temperature, err error) {
	b, err := fs.ReadFile(t.root, t.file)
	if err != nil {
		return r, err
	}
	milli, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil {
		return r, fmt.Errorf("/%s holds no thousandths of a degree Celsius", t.file)
	}
	return clockcheck.Temperature{At: hostclock.Now(), C: float64(milli) / 1000, Sensor: t.name, OfRTC: t.rtc}, nil
}

// watchTemperature reads it off the loop, once a minute.
func (s *service) watchTemperature(ctx context.Context) {
	for sleep.For(ctx, temperatureEvery) == nil {
		r, err := s.thermometer.read()
		s.events <- func() { s.takeTemperature(r, err) }
	}
}

func (s *service) takeTemperature(r clockcheck.Temperature, err error) {
	if err != nil {
		s.warn("thermometer", err.Error()+": name another in clock.thermometer, or none")
		return
	}
	s.station.Temperature(r)
}
