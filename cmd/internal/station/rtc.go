package station

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
	"noonmark/status"
)

// takeRTC takes a reading of the hardware clock.
func (s *Station) takeRTC(r rtc.Reading) {
	s.rtcRead(&clockcheck.RTC{Edge: r.Edge, Sigma: time.Duration(float64(r.Half) / math.Sqrt(3)), Value: r.Value,
		Invalid: r.FlagsKnown && r.Flags&rtc.DataInvalid != 0})
	if r.FlagsKnown {
		s.supply(r.Flags, r.Edge)
	}
}

// takeRTCInvalid says that the chip itself calls its time lost.
func (s *Station) takeRTCInvalid(at timescale.Local) {
	s.rtcRead(&clockcheck.RTC{Edge: at, Invalid: true})
}

// takeRTCMissing says that there is no hardware clock to be read, and why.
func (s *Station) takeRTCMissing(why string) {
	s.rtcReadings = rtcEnough
	s.judge.RTCMissing(sentence(why))
}

const (
	// rtcEnough readings of the hardware clock are its word: one may be read late, and the judge
	// waits for a second.
	rtcEnough = 2
	// rtcPatience is how long a run waits for that. An edge comes each second; a bus that hangs may
	// never answer (assumption: ten seconds without an answer are such a bus).
	rtcPatience = 10 * time.Second
)

// rtcAwaits tells whether the hardware clock has not said its word in this run, and may yet.
func (s *Station) rtcAwaits(now timescale.Local) bool {
	if s.began == 0 {
		s.began = now
	}
	return s.rtcReadings < rtcEnough && now.Sub(s.began) < rtcPatience
}

// supply notes what the chip says of its battery. That it once ran on it
// (BackupSwitch) or lost the time says nothing of the cell's charge.
func (s *Station) supply(f rtc.Flags, at timescale.Local) {
	was := s.battery
	switch {
	case f&rtc.BackupEmpty != 0:
		s.battery = status.BatteryEmpty
	case f&rtc.BackupLow != 0:
		s.battery = status.BatteryLow
	default:
		s.battery = status.BatteryGood
	}
	if s.battery != was && s.battery != status.BatteryGood {
		s.note(at, "battery", "The hardware clock says that its battery is "+s.battery+".")
	}
}
