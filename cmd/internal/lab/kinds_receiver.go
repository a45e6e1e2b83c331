package lab

import (
	"time"

	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
)

// set changes the running receiver.
func set(f func(*gnsstest.Model)) func(*world.Chapter) {
	return func(c *world.Chapter) { c.Change = append(c.Change, f) }
}

// receiverKinds: recorded files and published measurements of receivers and their lines.
var receiverKinds = []kind{
	// More satellites, more to compute and to say before.
	{"latency by satellites", func(s *newNight) {
		s.c.Receiver.Latency.PerSatellite = s.logSpan(time.Millisecond, 15*time.Millisecond)
		s.changingSky(4, 16)
	}},
	// Fixes come late under a bad sky; first fixes up to 1 s late (ESPEasy, PR 5087).
	{"late under a bad sky", func(s *newNight) {
		s.c.Receiver.Latency.Poor = s.logSpan(30*time.Millisecond, time.Second)
		s.changingSky(3, 9)
	}},
	// A logger or a multiplexer behind by minutes to hours; another host read 1.5 h late.
	{"backlog", func(s *newNight) {
		for range 1 + s.IntN(2) {
			from, to := s.part(time.Minute, 4*time.Hour)
			by := s.logSpan(2*time.Second, 3*time.Hour)
			s.then(from, func(c *world.Chapter) { c.Link = &world.Link{Behind: by} })
			s.then(to, func(c *world.Chapter) { c.Link = &world.Link{} })
			s.behind = append(s.behind, lie{window{from, to}, -by, 0})
		}
	}},
	// USB frames of 1 ms; adapters' 16 ms; a desktop's 15.6 ms; a terminal's 80 to 100 ms.
	{"bytes in steps", func(s *newNight) {
		steps := []time.Duration{time.Millisecond, 16 * time.Millisecond, 15625 * time.Microsecond, 90 * time.Millisecond}
		s.c.Link.Grain = steps[s.IntN(len(steps))]
	}},
	// A burst whose sentences are spread over 290 ms at a high speed.
	{"burst with rests", func(s *newNight) {
		s.c.Receiver.PauseAfter, s.c.Receiver.Pause = 1+s.IntN(3), s.logSpan(5*time.Millisecond, 150*time.Millisecond)
	}},
	// Seen: .226, .16, .379 s; one moves from .70 to .60 s within 12 min.
	{"off the second", func(s *newNight) {
		s.c.Receiver.Phase = s.span(0, time.Second)
		if s.chance(0.5) {
			s.c.Receiver.PhasePPM = s.sign() * s.log(5, 200)
		}
	}},
	{"rate and order change", func(s *newNight) {
		if s.c.Receiver.Baud < 38400 {
			s.c.Receiver.Baud = 38400
		}
		sets := [][]string{{"RMC", "GGA"}, {"GGA", "RMC", "ZDA"}, {"RMC"}, {"ZDA", "RMC", "GGA"}, {"GGA", "RMC"}}
		for range 1 + s.IntN(4) {
			rate, order := []int{1, 1, 2, 5, 10}[s.IntN(5)], sets[s.IntN(len(sets))]
			later := s.span(0, 100*time.Millisecond)
			s.then(s.anywhere(), set(func(m *gnsstest.Model) { m.RateHz, m.Sentences, m.Latency.Mean = rate, order, m.Latency.Mean+later }))
		}
	}},
	// In 30 of 111 recorded files no sentence leads in 90 % of the epochs.
	{"out of order", func(s *newNight) { s.c.Receiver.Unordered = s.log(0.02, 0.7) }},
	{"repeats after loss", func(s *newNight) {
		s.c.Receiver.RepeatsFor = s.logSpan(5*time.Second, 20*time.Minute)
		s.losses(1 + s.IntN(4))
	}},
	{"estimates after loss", func(s *newNight) {
		s.c.Receiver.Estimates, s.c.Receiver.EstimatesUnsaid = s.logSpan(5*time.Second, 20*time.Minute), s.chance(0.5)
		s.losses(1 + s.IntN(4))
	}},
	// Status V anywhere, also right after the start, while leap-second data are missing.
	{"status blinks", func(s *newNight) {
		if s.chance(0.4) {
			p := s.log(1e-4, 0.1)
			for i := range s.c.Story {
				s.c.Story[i].Scene.Blink = p
			}
		}
		for range 1 + s.IntN(6) {
			at := s.anywhere()
			if s.chance(0.4) {
				at = s.startOf() + s.span(0, 20*time.Minute)
			}
			d := s.logSpan(time.Second, time.Minute)
			s.then(at, func(c *world.Chapter) { c.Void = d })
		}
	}},
	// Time without a fix from its own clock; flagged valid too soon (makers' notes).
	{"own clock at start", func(s *newNight) {
		m := &s.c.Receiver
		m.Warm, m.BeforeFix, m.OwnError = false, gnsstest.OwnClock, time.Duration(s.sign()*float64(s.span(0, 4*time.Second)))
		if s.chance(0.5) {
			m.OwnError = m.OwnError.Round(time.Second)
		}
		if s.chance(0.6) {
			m.ValidTooSoon, m.ColdFix = s.logSpan(time.Second, 8*time.Minute), s.logSpan(time.Minute, 10*time.Minute)
		}
	}},
	{"another second", func(s *newNight) {
		m := &s.c.Receiver
		m.Latency.Jump, m.Latency.Bimodal = 0, 0
		if s.chance(0.5) {
			m.PreviousSecond, m.Latency.Mean, m.Latency.Wander = true, s.span(20*time.Millisecond, 150*time.Millisecond), 300*time.Microsecond
			return
		}
		m.PreviousSecond, m.NextSecond = false, true
		m.Latency.Mean = s.span(600*time.Millisecond, 990*time.Millisecond)
	}},
	// Another unit of the same kind: 0.1 to 0.8 s later or sooner, and cold.
	{"receivers swapped", func(s *newNight) {
		for range 1 + s.IntN(2) {
			m := s.c.Receiver
			m.Latency.Mean = s.logSpan(20*time.Millisecond, 800*time.Millisecond)
			m.Warm, m.NextSecond, m.PreviousSecond = s.chance(0.3), false, false
			m.LeapMissing = []int{0, 0, 1, 2, 3, 18}[s.IntN(6)]
			if s.chance(0.2) {
				m.Talker = map[string]string{"GN": "GP", "GP": "GN"}[m.Talker]
			}
			at := s.anywhere()
			if s.chance(0.5) { // while it was off
				at = s.startOf()
			}
			s.then(at, func(c *world.Chapter) { c.Plug = &m })
		}
	}},
	// A loose plug of its supply, its line to the computer whole.
	{"receiver restarts", func(s *newNight) {
		s.c.Receiver.LeapMissing = []int{0, 1, 1, 2, 3, 18}[s.IntN(6)]
		for range 1 + s.IntN(5) {
			cold := s.chance(0.7)
			s.then(s.anywhere(), func(c *world.Chapter) { c.Restart = &cold })
		}
	}},
	// A page of 12.5 min is missed: the data come 13 to 38 min after the fix.
	{"leap page missed", func(s *newNight) {
		m := &s.c.Receiver
		m.Warm, m.LeapMissing = false, []int{1, 1, 2, 3, 4, 5, 18}[s.IntN(7)]
		m.AlmanacAfter = 750*time.Second + s.span(0, 25*time.Minute)
	}},
	// The signals of an hour ago, or of some minutes: recorded and sent again.
	{"replayed signals", func(s *newNight) {
		from, to := s.part(5*time.Minute, 4*time.Hour)
		s.lie(from, to, -s.logSpan(10*time.Second, 2*time.Hour), 0)
	}},
	{"false signal", func(s *newNight) {
		from, to := s.part(2*time.Minute, 3*time.Hour)
		s.lie(from, to, s.falseTime(), 0)
	}},
	{"false signal drags", func(s *newNight) {
		from, to := s.part(20*time.Minute, 4*time.Hour)
		s.lie(from, to, 1, s.sign()*s.log(20, 2000))
	}},
}

// changingSky lets the satellites in view change now and then.
func (s *newNight) changingSky(lo, hi int) {
	for at := time.Duration(0); at < s.end; at += s.logSpan(10*time.Minute, 2*time.Hour) {
		n := lo + s.IntN(hi-lo)
		s.then(at, func(c *world.Chapter) { c.Scene.Satellites = n })
	}
}

// losses take the satellites away n times.
func (s *newNight) losses(n int) {
	for range n {
		from, to := s.part(30*time.Second, 2*time.Hour)
		s.inside(from, to)
	}
}

// anywhere is an instant of evening or night.
func (s *newNight) anywhere() time.Duration {
	if s.begin > 0 && s.chance(0.3) {
		return s.span(0, s.begin)
	}
	return s.instant()
}

// startOf is the instant at which the evening or the night begins.
func (s *newNight) startOf() time.Duration {
	if s.chance(0.3) {
		return 0
	}
	return s.begin
}
