package lab

import (
	"time"

	"noonmark/cmd/internal/world"
)

// kinds are all there are. Each names its source.
var kinds = append(append(append([]kind{
	// A crystal warmed by "several degrees", tens of Hz in 15 min (one station, 2013); 1 ppm/K
	// measured, 0.1 to 1 usual; 0.1 ppm for 5 % of the supply.
	{"transmitter warms", func(s *newNight) {
		s.c.Transmitter = &world.Transmitter{HeatC: s.between(1, 8), Over: s.logSpan(time.Minute, 15*time.Minute), PushPPM: s.log(0.01, 0.2),
			On: s.logSpan(time.Minute, 30*time.Minute), Off: s.logSpan(time.Minute, time.Hour)}
		s.c.Osc.TempPPM = s.sign() * s.log(0.1, 1)
	}},
	// Sun on a dark case: 5 to 25 °C above the air (common practice, no source).
	{"sun", func(s *newNight) {
		from, to := s.part(20*time.Minute, 3*time.Hour)
		s.then(from, func(c *world.Chapter) {
			c.Sun = &world.TempMove{ToC: s.between(5, 25), Over: s.logSpan(2*time.Minute, 30*time.Minute)}
		})
		s.then(to, func(c *world.Chapter) { c.Sun = &world.TempMove{Over: s.logSpan(2*time.Minute, 30*time.Minute)} })
		s.c.Osc.TempPPM = s.sign() * s.log(0.1, 1)
	}},
	// From a warm tent to −20…−38 °C within minutes: with 0.3 to 0.6 ppm/K 20 to 30 ppm.
	{"carried into the cold", func(s *newNight) {
		s.cold(s.between(-38, -20))
		s.c.Osc.TempPPM = s.sign() * s.between(0.3, 0.6)
	}},
	// A plain tuning fork as main crystal, −0.030 to −0.040 ppm/K² (NXP UM10301), carried out.
	{"fork as main crystal", func(s *newNight) {
		s.c.Osc.TempPPM, s.c.Osc.CurvePPM = 0, -s.between(0.030, 0.040)
		if s.chance(0.6) {
			s.cold(s.between(-38, 0))
		}
	}},
	// AT-cut: a cubic of some 1e-4 ppm/K³ (from memory).
	{"cubic crystal", func(s *newNight) {
		s.c.Osc.CubicPPM, s.c.Osc.TempPPM = s.between(0.8e-4, 1.2e-4), -s.between(0, 0.3)
		s.cold(s.between(-38, 0))
	}},
	// Activity dips and jumps: 1 to 20 ppm, days to months apart or more often.
	{"crystal leaps", func(s *newNight) {
		for range 1 + s.IntN(3) {
			by := s.sign() * s.log(1, 20)
			at := s.instant()
			s.then(at, func(c *world.Chapter) { c.OscJump = by })
			if s.chance(0.5) { // and goes back, as a dip does
				s.then(at+s.logSpan(time.Minute, 3*time.Hour), func(c *world.Chapter) { c.OscJump = -by })
			}
		}
	}},
	{"leaps in the tent", func(s *newNight) {
		from := s.begin + s.span(time.Hour, 4*time.Hour)
		to := from + s.span(2*time.Hour, 8*time.Hour)
		s.inside(from, to)
		by := s.sign() * s.log(5, 25)
		s.then(from+s.span(0, to-from), func(c *world.Chapter) { c.OscJump = by })
		if by > 15 || by < -15 { // declared: less is in the guard
			s.leaps = append(s.leaps, from)
		}
	}},
}, receiverKinds...), clockKinds...), otherKinds...)

func (d draw) sign() float64 { return float64(1 - 2*d.IntN(2)) }

// cold carries the computer out into the cold for some hours.
func (s *newNight) cold(to float64) {
	from, back := s.part(time.Hour, 8*time.Hour)
	s.then(from, func(c *world.Chapter) {
		c.Air = &world.TempMove{ToC: to, Over: s.logSpan(2*time.Minute, 10*time.Minute)}
	})
	s.colds = append(s.colds, window{from, back})
	s.then(back, func(c *world.Chapter) {
		c.Air = &world.TempMove{Usual: true, Over: s.logSpan(5*time.Minute, 20*time.Minute)}
	})
	if s.chance(0.5) { // from a warm tent
		s.c.Air.OffC = s.between(-10, 0)
	}
}
