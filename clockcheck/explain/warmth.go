package explain

import (
	"fmt"
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/thermal"
	"noonmark/clockcheck/timescale"
)

// tellC: a smaller change is not told, °C.
const tellC = 1

// Warmth says what a thermometer is good for now; live: a reference tells the rate.
func Warmth(w *thermal.Thermometer, live bool, now timescale.Local) clockcheck.Warmth {
	if w.Sensor == "" || w.Heard == 0 {
		return clockcheck.Warmth{}
	}
	k, sigma, ok := w.Learned()
	restless := w.Restless()
	ok = ok && !restless
	out := clockcheck.Warmth{Sensor: w.Sensor, C: w.Raw}
	if ok {
		out.Learned, out.PPMPerC, out.Bound = true, -k*1e6, bank.Likely*sigma*1e6
	}
	by, turned := w.Since()
	than := "warmer"
	if by < 0 {
		than = "colder"
	}
	since := fmt.Sprintf("%.1f °C %s than when a reference last told the oscillator's rate", math.Abs(by), than)
	switch {
	case now.Sub(w.Heard) > thermal.BlockLasts:
		out.Because = fmt.Sprintf("The thermometer has not answered for %s: a change of temperature is not seen.", forHowLong(now.Sub(w.Heard)))
	case restless:
		out.Because = "It shows the processor's work more than the temperature of the oscillator, and is little used. A thermometer elsewhere on the board would tell more (thermometer in the settings)."
	case live && ok, !live && math.Abs(by) < tellC && ok:
		out.Because = fmt.Sprintf("The oscillator changes by %+.2f ±%.2f ppm/°C: the estimate follows the temperature when no reference is there.", out.PPMPerC, out.Bound)
	case live || math.Abs(by) < tellC:
		out.Because = "How the oscillator answers to the temperature is being learned. That takes a day or more beside a reference, warm and cold."
	case ok:
		out.Because = fmt.Sprintf("It is %s; the estimate follows that by %+.2f ppm.", since, -turned*1e6)
	default:
		out.Because = "It is " + since + ", and how the oscillator answers is not learned: the guard is wider. Keep the computer at an even temperature."
	}
	return out
}
