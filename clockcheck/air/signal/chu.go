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
	begin := step(fold(envelope(samples, 1000, windowMS)))
	long := toneOf300(samples, whole(begin))
	if long.weakest < 0 {
		return s, false
	}
	s = Station{Name: "CHU", SecondS: math.Mod(begin/1e3+1, 1), Second: true}
	s.minute(samples, marks[3])
	from, _ := edges(samples, 1000, whole(begin), 300)
	proved := long.won() && from.won() // or by the code
	var frames []minuteRead
	year, began := 0, 0
	for sec := 0; float64(sec)+s.SecondS+0.6 < float64(len(samples))/rate; sec++ {
		b, ok := bytesNear(samples, s.SecondS+float64(sec))
		if !ok {
			continue
		}
		proved = true
		if day, hour, minute, second, ok := frameA(b); ok {
			frames = append(frames, minuteRead{sec - second, day, hour, minute})
		} else if dut1, y, tai, ok := frameB(b); ok {
			s.DUT1, s.TAI, year, began = dut1, tai, y, sec-yearSecond
		}
	}
	return s.dated(frames, year, began), proved
}

// toneOf300 is the contest of a tone that begins at ms begin and lasts 0.3 s with the rest of the second. Each third of
// it must be heard, and nowhere else so much; in one second of three it is not sent.
func toneOf300(samples []float32, begin int) contest {
	const part, edge = 90, 8 // ms, with room for the begin's error
	t, n := trackOf(samples, 1000, part, 0), secondsOf(samples)
	c := claim(t.each(begin, edge, n))
	for k := 1; k < 3; k++ {
		for s, v := range t.each(begin, edge+k*(part+edge), n) {
			c.claim[s] = math.Min(c.claim[s], v)
		}
	}
	for d := 300 + 3*edge; d <= 1000-part-3*edge; d += edge {
		c.against(t.each(begin, d, n))
	}
	return c
}

// yearSecond is the second of a minute in which frame B is sent.
const yearSecond = 31

// minuteRead is what a frame A says: the minute, and the second of the sound in which it began.
type minuteRead struct{ begin, day, hour, minute int }

// first is when the sound began by it, in a year without a number: frames of two minutes agree on it,
// but for those on either side of a new year.
func (m minuteRead) first() time.Time {
	return time.Date(0, 1, m.day, m.hour, m.minute, -m.begin, 0, time.UTC)
}

// dated takes the minute from frames A, where two agree, and joins the year of a frame B of the same
// minute, which began in that second of the sound. A frame alone may only bear out the long
// tone; where frames contradict it or each other, no minute is told.
func (s Station) dated(frames []minuteRead, year, began int) Station {
	if len(frames) == 0 {
		return s
	}
	at := s.SecondS + float64(frames[0].begin)
	borne := s.Minute && math.Abs(math.Remainder(at-s.MinuteS, 60)) < 0.5
	s.Minute = len(frames) > 1 || borne
	for _, f := range frames {
		s.Minute = s.Minute && f.first().Equal(frames[0].first())
	}
	if !s.Minute || len(frames) == 1 {
		return s
	}
	s.MinuteS = at
	for _, f := range frames {
		if f.begin == began && year > 0 {
			s.MinuteS, s.UTC = s.SecondS+float64(began), time.Date(year, 1, f.day, f.hour, f.minute, 0, 0, time.UTC)
		}
	}
	return s
}

// step proposes where a tone of 0.3 s begins each second, ms, in its folded envelope.
func step(p []float64) (begin float64) {
	best := 0
	score := func(i int) float64 { return mean(p, i, i+290) - mean(p, i-100, i-6) }
	for i := range p {
		if score(i) > score(best) {
			best = i
		}
	}
	u := linear(p)
	begin, _, _ = place(u, best, best-100, best+200, 40, windowMS, 300)
	// Its first 10 ms are in every second, what comes after them in two of three.
	begin, _, _ = place(u, whole(begin), whole(begin)-30, whole(begin)+8, 8, windowMS, 300)
	return begin
}

// nearby, s: the begin of a second is known to so much of a bit of 3.3 ms, and where a path is
// late by 1 to 2 ms (ITU-R F.1487, middle latitudes) a bit is read best from its later part.
var nearby = [...]float64{0, 0.5e-3, -0.5e-3, 1e-3, -1e-3, 1.5e-3, -1.5e-3, 2e-3, -2e-3}

// bytesNear reads the ten bytes of the second that begins near begin, s: at the first of the
// instants around it where each start and stop bit is right and the frame is whole.
func bytesNear(samples []float32, begin float64) (out [dataBytes]byte, ok bool) {
	for _, off := range nearby {
		if out, ok = bytesAt(samples, begin+off); ok && (halves(out, 0) || halves(out, inverted)) {
			return out, true
		}
	}
	return out, false
}

// inverted: each bit of a frame B's second half is turned over.
const inverted byte = 0xff

// halves tells whether a frame's second half is its first one, but for the bits in turned.
func halves(b [dataBytes]byte, turned byte) bool {
	for i := range dataBytes / 2 {
		if b[i] != b[i+dataBytes/2]^turned {
			return false
		}
	}
	return true
}

// bytesAt reads the ten bytes of the second that begins at begin, s; each start and stop
// bit must be right. The two tones may fade apart, so a bit is what it is nearer to, by the
// levels of both tones in the start bits, which are spaces, and in the stop bits, which are marks.
func bytesAt(samples []float32, begin float64) (out [dataBytes]byte, ok bool) {
	var level [dataBytes][frameBits][2]float64 // the amplitudes of mark and space
	var space, mark [2]float64
	for i := range level {
		for bit := range level[i] {
			from := begin + dataMS/1e3 + float64(i*frameBits+bit)/baud
			l := &level[i][bit]
			l[0], l[1] = math.Sqrt(power(samples, markHz, from)), math.Sqrt(power(samples, spaceHz, from))
			for tone := range l {
				switch {
				case bit == 0:
					space[tone] += l[tone] / dataBytes
				case bit > 8:
					mark[tone] += l[tone] / (2 * dataBytes)
				}
			}
		}
	}
	for i := range level {
		for bit, l := range level[i] {
			one := sq(l[0]-mark[0])+sq(l[1]-mark[1]) < sq(l[0]-space[0])+sq(l[1]-space[1])
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
	if !halves(b, 0) {
		return
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
	if !halves(b, inverted) {
		return
	}
	century, ok1 := bcd(b[1])
	rest, ok2 := bcd(b[2])
	tai, ok3 := bcd(b[3])
	year = century*100 + rest
	return math.NaN(), year, tai, ok1 && ok2 && ok3 && year >= 2000 && year < 2200
}
