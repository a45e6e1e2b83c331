package signal

import (
	"math"
	"math/cmplx"
	"time"
)

// CHU's code: from :31 to :39 ten bytes in the tones of Bell 103, 300 bit/s: a start bit, eight
// bits, the lowest first, two stop bits; the last stop bit ends 500 ms after the
// second. Each byte's halves are swapped. Source: NRC, "CHU broadcast codes".
const (
	markHz, spaceHz = 2225.0, 2025.0
	baud            = 300.0
	dataMS          = 500 - 110*1000/baud // the first start bit: 133.33 ms after the second
	dataBytes       = 10
	frameBits       = 11
)

// chu looks for CHU: by its code, which says all, or else by its tone of 0.3 s.
func chu(samples []float32) (s Station, ok bool) {
	profile := fold(envelope(samples, 1000, windowMS))
	begin, ok := step(profile)
	if !ok {
		return s, false
	}
	s = Station{Name: "CHU", SecondS: math.Mod(begin/1e3+1, 1), Second: true}
	s.minute(samples, marks[3])
	reads := map[int]int{} // second of the minute's begin, among those of the sound
	var last time.Time
	for sec := 0; float64(sec)+s.SecondS+0.6 < float64(len(samples))/rate; sec++ {
		b, ok := bytesAt(samples, s.SecondS+float64(sec))
		if !ok {
			continue
		}
		if day, hour, minute, second, ok := frameA(b); ok {
			reads[sec-second]++
			last = time.Date(0, 1, day, hour, minute, 0, 0, time.UTC)
			s.MinuteS, s.Minute = s.SecondS+float64(sec-second), true
		} else if dut1, year, tai, ok := frameB(b); ok {
			s.DUT1, s.TAI = dut1, tai
			s.UTC = time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
		}
	}
	return s.dated(reads, last), true
}

// dated joins the year of frame B and the day of frame A; two of frame A must agree.
func (s Station) dated(reads map[int]int, last time.Time) Station {
	year := s.UTC.Year()
	s.UTC = time.Time{}
	most := 0
	for _, n := range reads {
		most = max(most, n)
	}
	if len(reads) != 1 || most < 2 {
		s.Minute = s.Minute && len(reads) == 0
		return s
	}
	if year > 1 {
		s.UTC = time.Date(year, 1, last.YearDay(), last.Hour(), last.Minute(), 0, 0, time.UTC)
	}
	return s
}

// step finds a tone that begins each second and lasts 0.3 s.
func step(p []float64) (begin float64, ok bool) {
	score := func(i int) float64 { return mean(p, i, i+290) - mean(p, i-100, i-6) }
	best, sum := 0, 0.0
	for i := range 1000 {
		if score(i) > score(best) {
			best = i
		}
		sum += math.Abs(score(i))
	}
	on, before, after := mean(p, best+10, best+280), mean(p, best-100, best-10), mean(p, best+320, best+420)
	for i := best + 8; i < best+280; i += 30 { // a tone, not what is loud on the whole
		on = math.Min(on, mean(p, i, i+15))
	}
	if on-math.Max(before, after) < 1 {
		return 0, false
	}
	// The windows of 5 ms cross half of the step where half of one lies in the tone.
	half := (before + on) / 2
	i := best - 10
	for ; i < best+10 && at(p, i) < half; i++ {
	}
	frac := (half - at(p, i-1)) / math.Max(at(p, i)-at(p, i-1), 1e-9)
	// In the logarithm a quarter of the window already shows: the step is where the windows begin to.
	return float64(i-1) + math.Min(math.Max(frac, 0), 1) + edgeMS, true
}

// edgeMS is how much before the tone's begin the folded logarithm crosses half, ms: by
// simulation over 0 to 30 dB.
const edgeMS = 4.0

// bytesAt reads the ten bytes of the second that begins at begin, s; each start and stop
// bit must be right.
func bytesAt(samples []float32, begin float64) (out [dataBytes]byte, ok bool) {
	for i := range out {
		for bit := range frameBits {
			from := begin + dataMS/1e3 + float64(i*frameBits+bit)/baud
			one := power(samples, markHz, from) > power(samples, spaceHz, from)
			switch {
			case bit == 0 && one, bit > 8 && !one:
				return out, false
			case bit > 0 && bit < 9 && one:
				out[i] |= 1 << (bit - 1)
			}
		}
		out[i] = out[i]<<4 | out[i]>>4
	}
	return out, true
}

// power is that of a tone in one bit.
func power(samples []float32, hz, from float64) float64 {
	lo, hi := int(from*rate), int((from+1/baud)*rate)
	if lo < 0 || hi > len(samples) {
		return 0
	}
	sum, turn, phase := complex(0, 0), cmplx.Rect(1, -2*math.Pi*hz/rate), complex(1, 0)
	for _, v := range samples[lo:hi] {
		sum += phase * complex(float64(v), 0)
		phase *= turn
	}
	return real(sum)*real(sum) + imag(sum)*imag(sum)
}

// bcd reads two decimal digits.
func bcd(b byte) (v int, ok bool) { return int(b>>4)*10 + int(b&15), b>>4 < 10 && b&15 < 10 }

// frameA reads 6d dd hh mm ss, sent twice.
func frameA(b [dataBytes]byte) (day, hour, minute, second int, ok bool) {
	for i := range 5 {
		if b[i] != b[i+5] {
			return
		}
	}
	tens, ok1 := bcd(b[1])
	hour, ok2 := bcd(b[2])
	minute, ok3 := bcd(b[3])
	second, ok4 := bcd(b[4])
	day = int(b[0]&15)*100 + tens
	ok = b[0]>>4 == 6 && b[0]&15 < 4 && ok1 && ok2 && ok3 && ok4 && day >= 1 && day <= 366 && hour < 24 && minute < 60 && second >= 32 && second <= 39
	return
}

// frameB reads xz yy yy tt aa, sent a second time with every bit inverted: |DUT1|, year,
// TAI − UTC. The sign of DUT1, in x, is unproved and not read: only a DUT1 of 0 is told.
func frameB(b [dataBytes]byte) (dut1 float64, year, tai int, ok bool) {
	for i := range 5 {
		if b[i] != ^b[i+5] {
			return
		}
	}
	century, ok1 := bcd(b[1])
	rest, ok2 := bcd(b[2])
	tai, ok3 := bcd(b[3])
	year = century*100 + rest
	return math.NaN(), year, tai, ok1 && ok2 && ok3 && year >= 2000 && year < 2200
}
