package gnsstest

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// epoch is what the receiver believes and says at one instant.
type epoch struct {
	claim          timescale.UTC // the time it says, before rollover of the date
	zda            timescale.UTC
	noTime, noDate bool
	weekZero       bool
	rolled         bool // date from satellites, so rollover applies
	valid          bool
	mode           byte // of RMC 2.3
	quality        byte // of GGA
	used           int  // satellites
	inView         int
	lat, lon, alt  float64
	first          bool // of this second
}

// satelliteOffset is claim minus true time with a fix.
func (r *Receiver) satelliteOffset(s Scene) time.Duration {
	d := s.FalseTime + r.drag
	if !r.leap {
		d += time.Duration(r.m.LeapMissing) * time.Second
	}
	return d
}

// ownOffset is claim minus true time by the receiver's own clock.
func (r *Receiver) ownOffset(at timescale.UTC) time.Duration {
	if !r.fixed && r.m.BeforeFix == DefaultDate {
		return r.m.Default.Sub(r.powered) + time.Duration(float64(at.Sub(r.powered))*r.m.OwnPPM*1e-6)
	}
	return r.own.offset + time.Duration(float64(at.Sub(r.own.at))*r.m.OwnPPM*1e-6)
}

// believe returns the epoch at the nominal instant at of its own second, and
// the true instant at which it falls.
func (r *Receiver) believe(at timescale.UTC, first bool, s Scene) (epoch, timescale.UTC) {
	e := epoch{first: first, inView: s.Satellites, mode: 'N', quality: '0'}
	fix := r.seen != 0 && r.last.Sub(r.seen) >= r.need
	offset := r.ownOffset(at)
	switch {
	case fix:
		offset = r.satelliteOffset(s)
		e.valid, e.mode, e.quality, e.rolled = true, 'A', '1', true
		if r.m.Simulator {
			e.mode, e.quality = 'S', '8'
		}
	case r.fixed:
		e.rolled = true
		if r.lost != 0 && at.Sub(r.lost) <= r.m.Estimates {
			e.valid, e.mode, e.quality = true, 'E', '6'
			if r.m.EstimatesUnsaid {
				e.mode, e.quality = 'A', '1'
			}
		}
	default:
		e.noTime = r.m.BeforeFix == NoTime
		e.noDate = e.noTime || r.m.BeforeFix == NoDate
		e.weekZero = r.m.BeforeFix == WeekZero
		e.rolled = r.warm && r.m.BeforeFix != DefaultDate
	}
	if !fix && !r.fixed && r.seen != 0 && r.last.Sub(r.seen) >= r.need-r.m.ValidTooSoon {
		e.valid, e.mode, e.quality = true, 'A', '1'
	}
	if s.Void || s.Blink > 0 && r.rng.Float64() < s.Blink {
		e.valid, e.mode, e.quality = false, 'N', '0'
	}
	if e.valid {
		e.used = min(s.Satellites, 12)
		e.lat, e.lon, e.alt = r.position(s)
	}
	// The epochs stand on the receiver's own second: whole seconds of the offset
	// go into the name, the rest moves the instant.
	whole := time.Duration(math.Round(offset.Seconds())) * time.Second
	e.claim = at.Add(whole)
	e.zda = e.claim
	if r.m.PreviousSecond {
		e.claim = e.claim.Add(-time.Second)
		if !r.m.ZDACurrent {
			e.zda = e.claim
		}
	}
	if r.m.NextSecond {
		e.claim = e.claim.Add(time.Second)
		e.zda = e.claim
	}
	return e, at.Add(whole - offset)
}

// position is where the receiver believes it is.
func (r *Receiver) position(s Scene) (lat, lon, alt float64) {
	const mPerDeg = 111_195
	north := float64(r.north)*r.m.PositionSigmaM + s.FalseNorthM
	east := float64(r.east)*r.m.PositionSigmaM + s.FalseEastM
	lat = r.place.LatDeg + north/mPerDeg
	if lat > 90 {
		lat = 180 - lat
	} else if lat < -90 {
		lat = -180 - lat
	}
	lon = r.place.LonDeg + east/(mPerDeg*math.Max(math.Cos(lat*math.Pi/180), 1e-6))
	return lat, math.Remainder(lon, 360), r.place.AltM + 1.7*float64(r.up)*r.m.PositionSigmaM
}

// epoch makes the bytes of one epoch and puts them on the wire.
func (r *Receiver) epoch(at timescale.UTC, first bool, s Scene) Burst {
	e, when := r.believe(at, first, s)
	when = when.Add(r.latency(when, s.Satellites))
	perByte := 10 * time.Second / time.Duration(r.m.Baud)
	start := max(when, r.free)
	room := txBuffer - int(start.Sub(when)/perByte)
	var b []byte
	if r.again != nil && (s.Stuck || r.repeats(at, &e)) {
		b = append(b, r.again...)
	} else {
		b = r.sentences(make([]byte, 0, 640), &e, room)
		r.again = b
	}
	if s.Corrupt > 0 {
		b = r.damage(b, s.Corrupt)
	}
	r.free = start.Add(time.Duration(len(b)) * perByte)
	return Burst{At: start, PerByte: perByte, Bytes: b}
}

// repeats tells whether it says its last epoch again, for it has lost the satellites.
func (r *Receiver) repeats(at timescale.UTC, e *epoch) bool {
	return !e.valid && r.fixed && r.seen == 0 && r.lost != 0 && at.Sub(r.lost) <= r.m.RepeatsFor
}

// latency draws the delay of one epoch with so many satellites in view.
func (r *Receiver) latency(at timescale.UTC, satellites int) time.Duration {
	l := r.m.Latency
	d := l.Mean + time.Duration(float64(l.Jitter)*(r.rng.ExpFloat64()-1)) + r.walk
	up := at.Sub(r.powered)
	if l.Ramp != 0 {
		d += time.Duration(math.Mod(float64(l.Ramp)*up.Hours(), float64(l.RampSpan)))
	}
	if l.Jump != 0 && up >= l.JumpAfter {
		d += l.Jump
	}
	if l.Bimodal > 0 && r.rng.Float64() < l.Bimodal {
		d += l.BimodalBy
	}
	d += l.PerSatellite * time.Duration(max(satellites-4, 0))
	if l.Poor > 0 && satellites < poorSky {
		d += time.Duration(float64(l.Poor) * r.rng.ExpFloat64())
	}
	return max(d, 0)
}

// damage flips a bit of, or loses, each byte with probability p.
func (r *Receiver) damage(b []byte, p float64) []byte {
	out := make([]byte, 0, len(b))
	for _, c := range b {
		if r.rng.Float64() < p {
			if r.rng.IntN(2) == 0 {
				continue
			}
			c ^= 1 << r.rng.IntN(8)
		}
		out = append(out, c)
	}
	return out
}
