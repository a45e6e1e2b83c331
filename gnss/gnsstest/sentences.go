package gnsstest

import (
	"slices"
	"time"

	"noonmark/clockcheck/timescale"
)

// Field orders and letters as in NMEA 0183 v2.3 and v4.1, taken from receiver
// manuals; the tests hold them to a parser that is not ours.

// sentences appends the epoch's sentences, as far as there is room.
func (r *Receiver) sentences(b []byte, e *epoch, room int) []byte {
	for _, name := range r.order() {
		if !e.first && (name == "GSV" || name == "GSA") {
			continue
		}
		was := len(b)
		switch name {
		case "RMC":
			b = r.rmc(b, e)
		case "VTG":
			b = r.vtg(b, e)
		case "GGA":
			b = r.gga(b, e)
		case "GNS":
			b = r.gns(b, e)
		case "GLL":
			b = r.gll(b, e)
		case "GST":
			b = r.gst(b, e)
		case "ZDA":
			b = r.zda(b, e)
		case "GSA":
			b = r.gsa(b, e)
		case "GSV":
			b = r.gsv(b, e)
		}
		if len(b) > room {
			b = b[:was]
		}
	}
	return b
}

// order is that of the sentences of one epoch.
func (r *Receiver) order() []string {
	if r.m.Unordered == 0 || r.rng.Float64() >= r.m.Unordered {
		return r.m.Sentences
	}
	other := slices.Clone(r.m.Sentences)
	r.rng.Shuffle(len(other), func(i, j int) { other[i], other[j] = other[j], other[i] })
	return other
}

// begin starts a sentence; end closes the one begun at from.
func begin(b []byte, talker, name string) []byte {
	return append(append(append(b, '$'), talker...), name...)
}

func end(b []byte, from int) []byte {
	var sum byte
	for _, c := range b[from+1:] {
		sum ^= c
	}
	const hex = "0123456789ABCDEF"
	return append(b, '*', hex[sum>>4], hex[sum&15], '\r', '\n')
}

func (r *Receiver) rmc(b []byte, e *epoch) []byte {
	from := len(b)
	b = begin(b, r.m.Talker, "RMC")
	b = r.clock(append(b, ','), e, e.claim)
	b = append(b, ',', status(e))
	b = latLon(append(b, ','), e)
	b = r.motion(b, e)
	b = append(b, ',')
	if !e.noDate {
		y, m, d := r.date(e, e.claim)
		b = pad(pad(pad(b, d, 2), int(m), 2), y%100, 2)
	}
	b = append(b, ',', ',', ',', e.mode)
	b = r.navStatus(b, e)
	return end(b, from)
}

// motion appends ",speed,course"; a still receiver names no course.
func (r *Receiver) motion(b []byte, e *epoch) []byte {
	b = append(b, ',')
	if e.valid {
		b = fixed(b, r.speed, 3)
	}
	b = append(b, ',')
	if e.valid && r.speed > 0.5 {
		b = fixed(b, r.head, 1)
	}
	return b
}

func (r *Receiver) vtg(b []byte, e *epoch) []byte {
	from := len(b)
	b = begin(b, r.m.Talker, "VTG")
	b = append(b, ',')
	if e.valid && r.speed > 0.5 {
		b = fixed(b, r.head, 1)
	}
	b = append(b, ",T,,M,"...)
	if e.valid {
		b = fixed(b, r.speed, 3)
	}
	b = append(b, ",N,"...)
	if e.valid {
		b = fixed(b, r.speed*1.852, 3)
	}
	b = append(b, ",K,"...)
	return end(append(b, e.mode), from)
}

func (r *Receiver) gga(b []byte, e *epoch) []byte {
	from := len(b)
	b = begin(b, r.m.Talker, "GGA")
	b = r.clock(append(b, ','), e, e.claim)
	b = latLon(append(b, ','), e)
	b = append(b, ',', e.quality, ',')
	b = pad(b, e.used, 2)
	b = append(b, ',')
	b = fixed(b, dop(e.used), 2)
	if e.valid {
		b = append(b, ',')
		b = fixed(b, e.alt, 1)
		b = append(b, ",M,42.5,M,,"...)
	} else {
		b = append(b, ",,,,,,"...)
	}
	return end(b, from)
}

func (r *Receiver) gns(b []byte, e *epoch) []byte {
	from := len(b)
	b = begin(b, r.m.Talker, "GNS")
	b = r.clock(append(b, ','), e, e.claim)
	b = latLon(append(b, ','), e)
	b = append(b, ',', e.mode)
	if r.m.Talker == "GN" {
		b = append(b, e.mode)
	}
	b = append(b, ',')
	b = pad(b, e.used, 2)
	b = append(b, ',')
	b = fixed(b, dop(e.used), 2)
	b = append(b, ',')
	if e.valid {
		b = fixed(b, e.alt, 1)
		b = append(b, ",42.5"...)
	} else {
		b = append(b, ',')
	}
	b = append(b, ',', ',')
	return end(r.navStatus(b, e), from)
}

func (r *Receiver) gll(b []byte, e *epoch) []byte {
	from := len(b)
	b = begin(b, r.m.Talker, "GLL")
	b = latLon(append(b, ','), e)
	b = r.clock(append(b, ','), e, e.claim)
	b = append(b, ',', status(e), ',', e.mode)
	return end(b, from)
}

func (r *Receiver) gst(b []byte, e *epoch) []byte {
	from := len(b)
	b = begin(b, r.m.Talker, "GST")
	b = r.clock(append(b, ','), e, e.claim)
	if e.valid {
		s := r.m.PositionSigmaM
		for _, v := range []float64{1.4 * s, s, s, 0, s, s, 1.7 * s} {
			b = fixed(append(b, ','), v, 1)
		}
	} else {
		b = append(b, ",,,,,,,"...)
	}
	return end(b, from)
}

func (r *Receiver) zda(b []byte, e *epoch) []byte {
	from := len(b)
	b = begin(b, r.m.Talker, "ZDA")
	b = r.clock(append(b, ','), e, e.zda)
	if e.noDate {
		b = append(b, ",,,"...)
	} else {
		y, m, d := r.date(e, e.zda)
		b = pad(append(b, ','), d, 2)
		b = pad(append(b, ','), int(m), 2)
		b = pad(append(b, ','), y, 4)
	}
	return end(append(b, ",00,00"...), from)
}

// clock appends hhmmss.ss, the rest cut off.
func (r *Receiver) clock(b []byte, e *epoch, u timescale.UTC) []byte {
	if e.noTime {
		return b
	}
	ns := ofDay(u)
	s := int(ns / timescale.Second)
	b = pad(pad(pad(b, s/3600, 2), s/60%60, 2), s%60, 2)
	if d := r.m.Decimals; d > 0 {
		b = pad(append(b, '.'), int(ns%timescale.Second)/pow10(9-d), d)
	}
	return b
}

// Days the faults of dates are made of.
const (
	week      = 7 * 24 * time.Hour
	gpsEpoch  = timescale.UTC(315_964_800 * timescale.Second) // 1980-01-06 00:00:00, a Sunday
	nsPerDay  = 86_400 * timescale.Second
	weeksTurn = 1024
)

func (r *Receiver) date(e *epoch, u timescale.UTC) (int, time.Month, int) {
	if r.m.DateLate && ofDay(u) < timescale.Second {
		u = u.Add(-time.Second)
	}
	switch {
	case e.weekZero:
		u = gpsEpoch.Add(u.Sub(gpsEpoch) % week)
	case e.rolled && u >= r.m.RolloverFrom:
		u = u.Add(-time.Duration(r.m.WeekRollovers) * weeksTurn * week)
	}
	return u.Time().Date()
}

// ofDay is the nanoseconds since midnight.
func ofDay(u timescale.UTC) int64 {
	n := int64(u) % nsPerDay
	if n < 0 {
		n += nsPerDay
	}
	return n
}

func (r *Receiver) navStatus(b []byte, e *epoch) []byte {
	if !r.m.V41 {
		return b
	}
	// V: the device gives no navigational status (IEC 61162-1), as most modules say.
	return append(b, ',', 'V')
}

func status(e *epoch) byte {
	if e.valid {
		return 'A'
	}
	return 'V'
}
