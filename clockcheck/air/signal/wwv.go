package signal

import (
	"math"
	"time"
)

// The code of WWV and WWVH on 100 Hz: the tone is on from 30 ms after the second until
// 200 ms for 0, 500 ms for 1, 800 ms for a marker, which :09, :19 … :59 have; :00 has none.
// Source: NIST Special Publication 432; M, with the tone off 25 dB down.
type pulse int

const (
	pulseBad pulse = iota
	pulseNone
	pulse0
	pulse1
	pulseMarker
)

const (
	codeClear = 6.0  // power of the tone on, by that of it off, for there to be a code
	partOn    = 0.40 // of the power at the second's begin: the tone is still on …
	partOff   = 0.20 // … and it is off; between the two nothing is read
)

// code reads the minute's code from the power at 100 Hz, windows of 50 ms.
func (s *Station) code(slow []float64) {
	n := (len(slow) - int(s.SecondS*1e3) + 1000 - 730) / 1000 // the quiet end of the last second may be cut off
	if n < 60 {
		return
	}
	part := func(sec, from, to int) float64 {
		var x []float64
		for ms := from; ms <= to; ms += 10 {
			if i := int(s.SecondS*1e3) + sec*1000 + ms; i >= 0 && i < len(slow) {
				x = append(x, slow[i])
			}
		}
		return median(x)
	}
	var on, off []float64
	for sec := range n {
		on = append(on, part(sec, 60, 130))
		if off = append(off, part(sec, 840, 930)); sec+1 == n {
			off[sec] = median(off[:sec])
		}
	}
	up, down := median(on), median(off)+1e-30
	if up < codeClear*down {
		return
	}
	pulses := make([]pulse, n)
	for sec := range n {
		pulses[sec] = classify(on[sec], part(sec, 230, 430), part(sec, 530, 730), off[sec], up, down)
	}
	for first := 0; first+60 <= n; first++ {
		if frame := pulses[first : first+60]; framed(frame) {
			if t, dut1, ok := wwvDate(frame); ok && (!s.Minute || math.Abs(math.Remainder(s.MinuteS-s.SecondS-float64(first), 60)) < 0.5) {
				s.MinuteS, s.Minute, s.UTC, s.DUT1 = s.SecondS+float64(first), true, t, dut1
				return
			}
		}
	}
}

// classify says what a second's pulse is, by the power in its parts; up and down are those of
// the tone on and off in most seconds.
func classify(a, b, c, d, up, down float64) pulse {
	if a < math.Sqrt(up*down)/2 || a < partOff*up {
		return pulseNone
	}
	word := 0
	for _, v := range [...]float64{b, c, d} {
		switch {
		case v > partOn*a:
			word = word<<1 | 1
		case v < partOff*a:
			word <<= 1
		default:
			return pulseBad
		}
	}
	switch word {
	case 0b000:
		return pulse0
	case 0b100:
		return pulse1
	case 0b110:
		return pulseMarker
	}
	return pulseBad
}

// framed tells whether sixty pulses have a minute's markers, and all of them can be read.
func framed(frame []pulse) bool {
	for i, p := range frame {
		switch {
		case i == 0 && p != pulseNone, i%10 == 9 && p != pulseMarker:
			return false
		case i != 0 && i%10 != 9 && p != pulse0 && p != pulse1:
			return false
		}
	}
	return true
}

// wwvDate reads the date of a minute: the one that began with the frame.
func wwvDate(frame []pulse) (t time.Time, dut1 float64, ok bool) {
	number := func(from, to int) (v int) {
		for i := to; i >= from; i-- {
			v = v<<1 | int(frame[i]-pulse0)
		}
		return v
	}
	digits := [...]int{number(4, 7), number(51, 54), number(10, 13), number(15, 17), number(20, 23), number(25, 26),
		number(30, 33), number(35, 38), number(40, 41)}
	for _, d := range digits {
		if d > 9 {
			return t, 0, false
		}
	}
	year, minute := 2000+digits[1]*10+digits[0], digits[3]*10+digits[2]
	hour, day := digits[5]*10+digits[4], digits[8]*100+digits[7]*10+digits[6]
	t = time.Date(year, 1, day, hour, minute, 0, 0, time.UTC)
	if minute > 59 || hour > 23 || day < 1 || t.Year() != year {
		return t, 0, false
	}
	dut1 = float64(number(56, 58)) / 10
	if frame[50] == pulse0 {
		dut1 = -dut1
	}
	return t, dut1, true
}
