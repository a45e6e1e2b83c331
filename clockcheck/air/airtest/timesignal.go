package airtest

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"time"
)

// Clock is a time signal to be simulated: the first sample lies at Begin, UTC.
type Clock struct {
	Name  string // WWV, WWVH, CHU, BPM, RWM
	Begin time.Time
	SNRdB float64 // of a full tone, in 2500 Hz
	TAI   int     // TAI − UTC, for CHU
	DUT1  float64 // s, for BPM and RWM
	Hz    float64 // the tone that the receiver makes of RWM's carrier
}

// tone adds a tone from a to before b, s after the first sample.
func tone(x []complex128, amp, hz, a, b float64) {
	for i := max(0, int(math.Ceil(a*Rate))); i < min(len(x), int(math.Ceil(b*Rate))); i++ {
		x[i] += cmplx.Rect(amp, 2*math.Pi*hz*(float64(i)/Rate-a))
	}
}

// Signal is n seconds of the time signal, by the published descriptions: NIST Special
// Publication 432 (WWV, WWVH), NRC "CHU broadcast codes", ITU-R TF.768 (BPM).
func (c Clock) Signal(n float64) []complex128 {
	x := make([]complex128, int(n*Rate))
	amp := Amplitude(c.SNRdB)
	first := c.Begin.Truncate(time.Second)
	for s := 0.0; ; s++ {
		utc := first.Add(time.Duration(s) * time.Second)
		at := utc.Sub(c.Begin).Seconds()
		if at > n {
			return x
		}
		switch c.Name {
		case "WWV":
			wwv(x, amp, 1000, at, utc)
		case "WWVH":
			wwv(x, amp, 1200, at, utc)
		case "CHU":
			c.chu(x, amp, at, utc)
		case "BPM":
			c.bpm(x, amp, at, utc)
		case "RWM":
			c.rwm(x, amp, at, utc)
		}
	}
}

// bpm is one second of BPM: UTC, 20 ms early, in minutes 0 to 9 and 15 to 24 of each half hour,
// a carrier without a tone from 10, UT1 from 25, and its name, of which nothing is simulated, in 29.
func (c Clock) bpm(x []complex128, amp, at float64, utc time.Time) {
	length := 0.010
	switch m := utc.Minute() % 30; {
	case m >= 10 && m < 15 || m == 29:
		return
	case m >= 25:
		length = 0.1
		at += 0.020 - c.DUT1
	}
	if utc.Second() == 0 {
		length = 0.3
	}
	tone(x, amp, 1000, at-0.020, at-0.020+length)
}

// keyed adds a carrier from a to before b, its phase running on while it is off.
func keyed(x []complex128, amp, hz, a, b float64) {
	for i := max(0, int(math.Ceil(a*Rate))); i < min(len(x), int(math.Ceil(b*Rate))); i++ {
		x[i] += cmplx.Rect(amp, 2*math.Pi*hz*float64(i)/Rate)
	}
}

// rwm is one second of RWM, a carrier that is keyed, as a receiver for telegraphy or one
// sideband makes it heard. Each part stops at 55 s of its last minute.
func (c Clock) rwm(x []complex128, amp, at float64, utc time.Time) {
	m, s := utc.Minute()%30, utc.Second()
	if (m == 7 || m == 9 || m == 19 || m == 29) && s >= 55 {
		return
	}
	switch {
	case m < 8:
		keyed(x, amp, c.Hz, at, at+1)
	case m == 9: // Morse: its name, of which only the rhythm counts here
		for i := range 5 {
			if (s*5+i)%7 < 4 {
				keyed(x, amp, c.Hz, at+float64(i)*0.2, at+float64(i)*0.2+0.08+0.1*float64((s*5+i)%3/2))
			}
		}
	case m >= 10 && m < 20:
		long := 0.1
		if s == 0 {
			long = 0.5
		}
		keyed(x, amp, c.Hz, at, at+long)
		if RWMDouble(c.DUT1, s) {
			keyed(x, amp, c.Hz, at+0.2, at+0.3)
		}
	case m >= 20:
		for i := range 10 {
			long := 0.02
			if i == 0 {
				long = 0.04
			}
			if i == 0 && s == 0 {
				long = 0.5
			}
			if s > 0 || i == 0 || i > 4 {
				keyed(x, amp, c.Hz, at+float64(i)*0.1, at+float64(i)*0.1+long)
			}
		}
	}
}

// RWMDouble tells whether the pulse of a second is doubled: as many as there are tenths, from 1
// on for a positive DUT1 and from 9 on for a negative, and as many as there are fiftieths beside them,
// from 21 on and from 31 on.
func RWMDouble(dut1 float64, s int) bool {
	fiftieths := int(math.Round(math.Abs(dut1) * 50))
	tenths, rest, from, from2 := fiftieths/5, fiftieths%5, 1, 21
	if dut1 < 0 {
		from, from2 = 9, 31
	}
	return s >= from && s < from+tenths || s >= from2 && s < from2+rest
}

// wwv is one second of WWV or WWVH, without voice; the 500-Hz tone of odd minutes stands
// for it.
func wwv(x []complex128, amp, hz, at float64, utc time.Time) {
	sec := utc.Second()
	switch {
	case sec == 0:
		tone(x, amp, hz, at, at+0.8)
	case sec != 29 && sec != 59:
		tone(x, amp, hz, at, at+0.005)
	}
	if sec > 0 && sec < 45 && utc.Minute()%2 == 1 {
		tone(x, amp/2, 500, at+0.030, at+0.990)
	}
	from, code := 0.030, WWVPulse(utc)
	if sec == 29 || sec == 59 {
		from = 0
	}
	if code > 0 {
		tone(x, amp/3, 100, at+from, at+code)
	}
}

// WWVPulse is until when, s, the 100-Hz tone of a second is on; 0 = not at all.
func WWVPulse(utc time.Time) float64 {
	s := utc.Second()
	if s == 0 {
		return 0
	}
	if s%10 == 9 {
		return 0.8
	}
	year, day := utc.Year()%100, utc.YearDay()
	for _, f := range [...]struct{ from, to, v int }{{4, 7, year % 10}, {51, 54, year / 10}, {10, 13, utc.Minute() % 10}, {15, 17, utc.Minute() / 10},
		{20, 23, utc.Hour() % 10}, {25, 26, utc.Hour() / 10}, {30, 33, day % 10}, {35, 38, day / 10 % 10}, {40, 41, day / 100}, {50, 50, 1}} {
		if s >= f.from && s <= f.to && f.v>>(s-f.from)&1 == 1 {
			return 0.5
		}
	}
	return 0.2
}

// chu is one second of CHU.
func (c Clock) chu(x []complex128, amp, at float64, utc time.Time) {
	sec, length := utc.Second(), 0.3
	switch {
	case sec == 0 && utc.Minute() == 0:
		length = 1
	case sec == 0:
		length = 0.5
	case utc.Minute() == 0 && sec < 10, sec == 29:
		return
	case sec >= 31 && sec <= 39, sec >= 50:
		length = 0.010
	}
	tone(x, amp, 1000, at, at+length)
	if sec >= 31 && sec <= 39 {
		c.frame(x, amp, at, CHUBytes(utc, c.TAI))
	}
}

// CHUBytes are the ten bytes of a second, :31 to :39.
func CHUBytes(utc time.Time, tai int) (b [10]byte) {
	bcd := func(v int) byte { return byte(v/10<<4 | v%10) }
	day := utc.YearDay()
	five := [5]byte{0x60 | byte(day/100), bcd(day % 100), bcd(utc.Hour()), bcd(utc.Minute()), bcd(utc.Second())}
	if utc.Second() == 31 {
		five = [5]byte{0x00, bcd(utc.Year() / 100), bcd(utc.Year() % 100), bcd(tai), 0x00}
	}
	for i, v := range five {
		if b[i], b[i+5] = v, v; utc.Second() == 31 {
			b[i+5] = ^v
		}
	}
	return b
}

// frame sends bytes, their halves swapped, so that the last stop bit ends 500 ms after the second.
func (c Clock) frame(x []complex128, amp, at float64, bytes [10]byte) {
	const bit = 1.0 / 300
	begin := at + 0.5 - 110*bit
	tone(x, amp, 2225, at+0.010, begin)
	for i, v := range bytes {
		v = v<<4 | v>>4
		bits := uint16(v)<<1 | 0b11<<9
		for k := range 11 {
			hz := 2025.0
			if bits>>k&1 == 1 {
				hz = 2225
			}
			from := begin + float64(i*11+k)*bit
			tone(x, amp, hz, from, from+bit)
		}
	}
	tone(x, amp, 2225, at+0.5, at+0.510)
}

// Hear is n seconds of clocks, each through its own fading, in noise.
func Hear(r *rand.Rand, ch Channel, n float64, clocks ...Clock) []float32 {
	out := make([]float32, int(n*Rate))
	for _, c := range clocks {
		for i, v := range ch.Pass(r, c.Signal(n)) {
			out[i] += v
		}
	}
	return Noise(r, out)
}
