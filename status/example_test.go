package status

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// utc is a known time.
func utc(s string) Time {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		panic(err)
	}
	return At(timescale.UTCOf(t))
}

// full is a snapshot with every field set: a camp on a salt flat, at night.
func full() Snapshot {
	return Snapshot{
		Schema: SchemaName, Live: true,
		Written: Written{SystemUTC: utc("2031-02-03T04:05:06.250Z"), BootID: "b1", BoottimeS: 812.4, StaleAfterS: 3, AsleepS: Known(0)},
		Clock: Clock{Basis: BasisGNSS, ErrorS: Known(-0.012), BoundS: Known(0.081), RatePPM: Known(3.1), RateBoundPPM: Known(0.4),
			GuardS: Known(0.142), Proved: []string{"date", "second", "latency"}, Ancestry: []string{"receiver", "server"},
			Steering: "slewing", Because: "The receiver has had a fix for 31 min, and a time server agrees with it to 0.020 s.",
			Budget: []Term{
				{"arrival latency", Known(0.08), "measured against a time server 2 h ago; allowed to have drifted since"},
				{"second's edge", Known(0.061), "scatter of the last 60 epochs"},
				{"whole second", Known(0), "confirmed by 27 min of unbroken validity"},
			}},
		Modes: []Mode{
			{Mode: "FT8", InUse: true, PeriodS: 15, ToleranceS: 1, Verdict: Within, MarginS: Known(0.846),
				GoodUntilUTC: utc("2031-02-05T09:00:00Z"), GoodForS: Known(190494)},
			{Mode: "FT4", PeriodS: 7.5, ToleranceS: 0.15, Verdict: Borderline, MarginS: Known(-0.004)},
			{Mode: "JS8-6", PeriodS: 6, ToleranceS: 0.3, Verdict: Outside, MarginS: Known(-0.5)},
			{Mode: "WSPR", PeriodS: 120, ToleranceS: 1, Verdict: Unknown},
		},
		Position: &Position{Locator: "FG69GU18", LatDeg: Known(-20.13), LonDeg: Known(-67.49), AltM: Known(3656), BoundM: Known(9),
			Fix: "3d", Satellites: Known(11), AgeS: Known(0.4), EdgeM: Known(88), Moving: true},
		References: []Reference{
			{Name: "receiver", Kind: "gnss", Trust: Trusted, Because: "Valid fix with 11 satellites for 31 min.",
				ErrorS: Known(-0.010), BoundS: Known(0.09), AgeS: Known(0.4)},
			{Name: "rtc", Kind: "rtc", Trust: Doubted, Because: "It is 3600.2 s off, a whole hour: it may be kept in local time. " +
				"Set it with the hardware clock in UTC.", ErrorS: Known(-3600.2), BoundS: Known(0.5), AgeS: Known(12), Battery: BatteryLow},
			{Name: "pps", Kind: "pps", Trust: Silent, Because: "There is no pulse device."},
		},
		Events: []Event{{UTC: utc("2031-02-03T03:34:01Z"), Kind: "trust-changed", Text: "receiver: now trusted"},
			{Kind: "started", Text: "noonmark started"}},
		Receiver: &Receiver{Device: "/dev/ttyACM0", Identity: "GNSS receiver, serial 0042", Baud: 9600, Sentences: 14880,
			Skipped: map[string]int64{"checksum": 3, "too long": 1, "binary": 0}, Epochs: 1860, EpochsValid: 1858},
		Sharing: &Sharing{Readers: 3, Lines: 14890, Lost: 12},
		Air:     &Air{17, Known(0.08), Known(0.15), Known(12), nil},
		Thermometer: &Thermometer{"the processor (cpu-thermal)", Known(31.5), Known(-0.31), Known(0.08),
			"The oscillator changes by -0.31 ±0.08 ppm/°C: the estimate follows the temperature when no reference is there."},
		TimeService: &TimeService{Answered: 412, Limited: 7, Ignored: 2, Dropped: 1},
	}
}

// least is a snapshot at start, when nothing is known.
func least() Snapshot {
	return Snapshot{
		Live:    true,
		Written: Written{SystemUTC: utc("1970-01-01T00:00:12Z"), BootID: "b1", BoottimeS: 12, StaleAfterS: 3},
		Clock:   Clock{Basis: BasisNone, Steering: SteeringObserving},
	}
}
