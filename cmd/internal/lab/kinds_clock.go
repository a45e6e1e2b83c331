package lab

import (
	"time"

	"noonmark/cmd/internal/world"
)

// clockKinds: hardware clocks, servers and the system clock.
var clockKinds = []kind{
	// A cell's limit is −20 °C; two of three chips of one type stopped in a year in Greenland,
	// their flag set; the crystal type has no flag.
	{"clock stops in the cold", func(s *newNight) {
		m := &s.c.RTC
		m.StopsBelowC, m.StopTold = s.between(-30, -12), s.chance(0.4)
		s.cold(s.between(-38, -20))
	}},
	// Another program sets it: whole hours 0.02 a set, seconds, anything.
	{"clock set by others", func(s *newNight) {
		for range 1 + s.IntN(3) {
			by := []time.Duration{time.Hour, time.Second, 2 * time.Second, s.logSpan(100*time.Millisecond, time.Hour)}[s.IntN(4)]
			by = time.Duration(s.sign() * float64(by))
			at := s.anywhere()
			s.then(at, func(c *world.Chapter) { c.RTCMove = by })
			s.set = append(s.set, at)
		}
	}},
	// Kept in local time by another system on the same machine, over a change of summer time.
	{"clock on local time", func(s *newNight) {
		s.c.RTC.Zone = time.Duration(s.IntN(25)-12) * time.Hour
		by, at := time.Duration(s.sign())*time.Hour, s.anywhere()
		s.set = append(s.set, at)
		s.then(at, func(c *world.Chapter) { c.RTCMove = by })
	}},
	// A network that answers every question itself: 0.01 (0.001 to 0.05) a strange network.
	{"portal", func(s *newNight) {
		from, to := s.part(10*time.Minute, 3*time.Hour)
		all := s.upright(1 + s.IntN(4))
		p := &world.Server{Name: "portal", Bound: s.logSpan(2*time.Millisecond, 50*time.Millisecond), Stratum: 1 + s.IntN(4),
			Follows: [4]byte{10, 0, 0, 1}, Error: s.portalError()}
		if s.chance(0.5) { // by name, so that all have its address
			p.ID, p.Port = [4]byte{10, 0, 0, 2}, 123
		}
		s.then(from, func(c *world.Chapter) { c.Servers, c.Portal = all, p })
		s.then(to, func(c *world.Chapter) { c.Servers, c.Portal = nil, nil })
		s.liars = append(s.liars, lie{window{from, to}, p.Error, 0})
	}},
	// A national server stepped by −378,691,200 s for an hour (2012); one by −10 ms (2025).
	{"a server steps", func(s *newNight) {
		from, to := s.part(time.Hour, 6*time.Hour)
		all := s.upright(3 + s.IntN(2))
		bad := append([]world.Server(nil), all...)
		bad[s.IntN(len(bad))].Error = time.Duration(s.sign() * float64(s.logSpan(10*time.Millisecond, time.Hour)))
		s.then(from, func(c *world.Chapter) { c.Servers = all })
		s.then(from+s.span(0, to-from), func(c *world.Chapter) { c.Servers = bad })
		s.then(to, func(c *world.Chapter) { c.Servers = nil })
	}},
	// A way by satellite or a bad mobile link: 0.1 to 1.5 s, nearly all of it one way.
	{"long asymmetric link", func(s *newNight) {
		from, to := s.part(10*time.Minute, 6*time.Hour)
		all := s.upright(1 + s.IntN(3))
		w := world.Way{Delay: s.logSpan(100*time.Millisecond, 1500*time.Millisecond), Queue: s.logSpan(5*time.Millisecond, 200*time.Millisecond),
			There: []float64{s.between(0.02, 0.2), s.between(0.8, 0.98)}[s.IntN(2)]}
		s.then(from, func(c *world.Chapter) { c.Servers, c.Way = all, w })
		s.then(to, func(c *world.Chapter) { c.Servers, c.Way = nil, world.Way{} })
	}},
	// Two named servers share an upstream with 0.3; here all but perhaps one follow one liar.
	{"names of one liar", func(s *newNight) {
		from, to := s.part(10*time.Minute, 6*time.Hour)
		all, by := s.upright(2+s.IntN(3)), s.portalError()
		for i := range all {
			all[i].Error = by + time.Duration(float64(all[i].Bound)*s.between(-0.3, 0.3))
			all[i].Follows, all[i].Stratum = [4]byte{203, 0, 113, 200}, 2
		}
		if s.chance(0.3) {
			honest := s.upright(len(all) + 1)
			all = append(all, honest[len(all)])
		}
		s.then(from, func(c *world.Chapter) { c.Servers = all })
		s.then(to, func(c *world.Chapter) { c.Servers = nil })
		s.liars = append(s.liars, lie{window{from, to}, by, 0})
	}},
	// Set by another program: 1e-3/h at start-up, 1e-4/h later.
	{"others slew and step", func(s *newNight) {
		for range 1 + s.IntN(4) {
			switch at := s.anywhere(); s.IntN(3) {
			case 0:
				ppm := s.sign() * s.log(5, 500)
				s.then(at, func(c *world.Chapter) { c.Slew = &ppm })
				usual := 0.0
				s.then(at+s.logSpan(time.Minute, 3*time.Hour), func(c *world.Chapter) { c.Slew = &usual })
			case 1:
				by := time.Duration(s.sign() * float64(s.logSpan(10*time.Millisecond, time.Second)))
				s.then(at, func(c *world.Chapter) { c.Turn = by })
			default:
				by := time.Duration(s.sign() * float64(s.logSpan(100*time.Millisecond, 10*time.Second)))
				s.then(at, func(c *world.Chapter) { c.Step = by })
			}
		}
	}},
}

// portalError is how wrong a liar among servers is: some 0.1 s to minutes, sometimes years.
func (s *newNight) portalError() time.Duration {
	d := s.logSpan(300*time.Millisecond, 10*time.Minute)
	if s.chance(0.1) {
		d = 12 * 365 * 24 * time.Hour
	}
	return time.Duration(s.sign() * float64(d))
}
