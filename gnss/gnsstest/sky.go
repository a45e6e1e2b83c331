package gnsstest

import (
	"math"
	"math/rand/v2"

	"noonmark/clockcheck/timescale"
)

// satellite is one that rises and sets slowly.
type satellite struct {
	id      int
	azimuth int
	phase   float64 // of its elevation, radians
	glonass bool
}

const maxInView = 32 // more need a third GSV group

// newSky draws a sky in which the first n satellites serve a view of n.
func newSky(rng *rand.Rand, gpsOnly bool) []satellite {
	gps, glo := rng.Perm(32), rng.Perm(24)
	sats := make([]satellite, maxInView)
	for i := range sats {
		s := satellite{id: gps[i%32] + 1, azimuth: rng.IntN(360), phase: rng.Float64() * 2 * math.Pi}
		if !gpsOnly && i%2 == 1 {
			s.glonass, s.id = true, glo[i/2%24]+65
		}
		sats[i] = s
	}
	return sats
}

// elevation in degrees, 5 to 85, with the half-day period of an orbit.
func (s satellite) elevation(u timescale.UTC) int {
	return 45 + int(40*math.Sin(s.phase+2*math.Pi*float64(u%43_200e9)/43_200e9))
}

// dop falls with the number of satellites; 99.99 means none, as receivers say it.
func dop(used int) float64 {
	if used < 3 {
		return 99.99
	}
	return 0.5 + 3/float64(used-2)
}

// view is the satellites in view of one system, until the next call.
func (r *Receiver) view(n int, glonass bool) []satellite {
	in := r.inView[:0]
	for _, s := range r.sats[:min(max(n, 0), len(r.sats))] {
		if s.glonass == glonass {
			in = append(in, s)
		}
	}
	r.inView = in
	return in
}

func (r *Receiver) gsa(b []byte, e *epoch) []byte {
	b = r.gsaOf(b, e, false)
	if r.m.Talker == "GN" {
		b = r.gsaOf(b, e, true)
	}
	return b
}

func (r *Receiver) gsaOf(b []byte, e *epoch, glonass bool) []byte {
	from := len(b)
	b = begin(b, r.m.Talker, "GSA")
	fix := byte('1')
	if e.valid {
		fix = '2'
		if e.used > 3 {
			fix = '3'
		}
	}
	b = append(b, ",A,"...)
	b = append(b, fix)
	in := r.view(e.used, glonass)
	for i := range 12 {
		b = append(b, ',')
		if i < len(in) {
			b = pad(b, in[i].id, 2)
		}
	}
	h := dop(e.used)
	v := math.Min(1.5*h, 99.99)
	for _, d := range []float64{math.Min(math.Hypot(h, v), 99.99), h, v} {
		b = fixed(append(b, ','), d, 2)
	}
	if r.m.V41 {
		b = append(b, ',', '1')
		if glonass {
			b[len(b)-1] = '2'
		}
	}
	return end(b, from)
}

func (r *Receiver) gsv(b []byte, e *epoch) []byte {
	b = r.gsvOf(b, e, "GP", false)
	if r.m.Talker == "GN" {
		b = r.gsvOf(b, e, "GL", true)
	}
	return b
}

func (r *Receiver) gsvOf(b []byte, e *epoch, talker string, glonass bool) []byte {
	in := r.view(e.inView, glonass)
	messages := max((len(in)+3)/4, 1)
	for i := range messages {
		from := len(b)
		b = begin(b, talker, "GSV")
		b = pad(append(b, ','), messages, 1)
		b = pad(append(b, ','), i+1, 1)
		b = pad(append(b, ','), len(in), 2)
		for _, s := range in[min(4*i, len(in)):min(4*i+4, len(in))] {
			el := s.elevation(r.last)
			b = pad(append(b, ','), s.id, 2)
			b = pad(append(b, ','), el, 2)
			b = pad(append(b, ','), s.azimuth, 3)
			b = pad(append(b, ','), 26+el/4+r.rng.IntN(3), 2)
		}
		if r.m.V41 {
			b = append(b, ',', '1')
		}
		b = end(b, from)
	}
	return b
}
