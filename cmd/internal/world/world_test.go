package world

import (
	"flag"
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/gnsstest"
	"noonmark/status"
)

func config() station.Config {
	var modes []clockcheck.Mode
	for _, name := range []string{"FT8", "FT4", "JS8-6"} {
		m, err := clockcheck.ModeNamed(name)
		if err != nil {
			panic(err)
		}
		modes = append(modes, m)
	}
	floor := timescale.UTCOf(time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC))
	return station.Config{Judge: clockcheck.Config{Floor: floor, Modes: modes, RTCCompensated: true}, BuildDate: floor, LocatorLength: 10}
}

// outcome is what a story did to the verdicts.
type outcome struct {
	falseWithin, missed int // s
	within              int // s, of the first mode
	first               time.Duration
	last                status.Snapshot
}

func play(s Scenario, seed uint64) outcome {
	w := New(s, config(), seed)
	o := outcome{first: -1}
	for w.Elapsed() < s.Length {
		snap := w.Second()
		truth := w.SystemError()
		c := snap.Clock
		if c.GuardS.OK && math.Abs(c.ErrorS.V-truth) > c.GuardS.V {
			o.missed++
		}
		for i, m := range snap.Modes {
			if m.Verdict == status.Within && math.Abs(truth) > m.ToleranceS {
				o.falseWithin++
			}
			if i == 0 && m.Verdict == status.Within {
				o.within++
				if o.first < 0 {
					o.first = w.Elapsed()
				}
			}
		}
		o.last = *snap
	}
	return o
}

var moreSeeds = flag.Uint64("seeds", 8, "how many seeds each story is played with")

// The property above all others, on every built-in story and several seeds; more
// of them: go test ./cmd/internal/world -run Falsely -seeds 200
func TestNeverFalselyWithin(t *testing.T) {
	seeds := *moreSeeds
	if testing.Short() {
		seeds = 2
	}
	for _, s := range Scenarios() {
		t.Run(s.Name, func(t *testing.T) {
			t.Parallel()
			for seed := range seeds {
				if o := play(s, seed+1); o.falseWithin > 0 || o.missed > 0 {
					t.Errorf("seed %d: %d s of false within, %d s in which error ± guard missed the truth", seed+1, o.falseWithin, o.missed)
				}
			}
		})
	}
}

func TestStoriesGoAsTold(t *testing.T) {
	want := func(name string) (Scenario, outcome) {
		s, err := Named(name)
		if err != nil {
			t.Fatal(err)
		}
		return s, play(s, 1)
	}
	if _, o := want("camp"); o.first < 0 || o.first > 4*time.Second {
		t.Errorf("camp: first within after %v; a learned hardware clock gives it in 4 s", o.first)
	}
	if _, o := want("first-night"); o.first < 6*time.Minute || o.first > 14*time.Minute {
		t.Errorf("first-night: within after %v; the clock is 47 s off until it is set after 6 min, and leap-second data come within 12.5 min of the fix", o.first)
	}
	if _, o := want("no-receiver"); o.last.Clock.Basis != status.BasisOperator || o.first < 15*time.Minute {
		t.Errorf("no-receiver: %s, within after %v", o.last.Clock.Basis, o.first)
	}
	if _, o := want("liar"); o.last.References[0].Trust != status.Trusted || o.last.Clock.Basis != status.BasisGNSS {
		t.Errorf("liar: receiver %+v", o.last.References[0])
	}
}

// Each story shows a problem and its solution within a minute: the usual one at --speed
// 720, the others at 60, as README and help have them.
func TestStoriesAreSolved(t *testing.T) {
	for i, s := range Scenarios() {
		speed := 60.0
		if i == 0 {
			speed = 720
		}
		if shown := s.Length.Seconds() / speed; shown > 60 {
			t.Errorf("%s: takes %.0f s", s.Name, shown)
		}
		w, problem := New(s, config(), 1), time.Duration(-1)
		var last *status.Snapshot
		for w.Elapsed() < s.Length {
			last = w.Second()
			if a := status.Advise(last, last.Modes[:1]); a.Kind != status.AdviceNone && a.Kind != status.AdviceWait && w.Elapsed() > time.Minute && problem < 0 {
				problem = w.Elapsed()
			}
		}
		if a := status.Advise(last, last.Modes[:1]); problem < 0 || a.Kind != status.AdviceNone || last.Modes[0].Verdict != status.Within {
			t.Errorf("%s: a problem after %v; at the end %+v, %s %s", s.Name, problem, a, last.Modes[0].Mode, last.Modes[0].Verdict)
		}
	}
}

// Same seed, same bytes, same judgement.
func TestDeterministic(t *testing.T) {
	s := Scenarios()[0]
	s.Length = 5 * time.Minute
	a, b := play(s, 3), play(s, 3)
	if a.last.Clock.ErrorS != b.last.Clock.ErrorS || a.within != b.within {
		t.Errorf("%+v and %+v", a.last.Clock, b.last.Clock)
	}
}

// Receivers that lie from the start beside a good hardware clock, receivers of
// every awkward kind, and weather: nothing may be said falsely.
func TestAwkwardReceivers(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine, and ten times slower under the race detector")
	}
	base := Scenarios()[0]
	base.Length = 40 * time.Minute
	model := func(f func(*gnsstest.Model)) gnsstest.Model {
		m := gnsstest.Typical()
		f(&m)
		return m
	}
	scene := func(f func(*gnsstest.Scene)) []Chapter {
		sc := open
		f(&sc)
		return []Chapter{{Scene: open}, {From: 5 * time.Minute, Scene: sc}}
	}
	always := func(f func(*gnsstest.Scene)) []Chapter {
		sc := open
		f(&sc)
		return []Chapter{{Scene: sc}}
	}
	for name, change := range map[string]func(*Scenario){
		"lies by 3 s from the start": func(s *Scenario) {
			s.Receiver = gnsstest.Typical()
			s.Story = always(func(c *gnsstest.Scene) { c.FalseTime = 3 * time.Second })
		},
		"lies by −1 s from the start": func(s *Scenario) {
			s.Receiver = gnsstest.Typical()
			s.Story = always(func(c *gnsstest.Scene) { c.FalseTime = -time.Second })
		},
		"describes the previous second": func(s *Scenario) { s.Receiver = model(func(m *gnsstest.Model) { m.PreviousSecond = true }) },
		"week rollover":                 func(s *Scenario) { s.Receiver = model(func(m *gnsstest.Model) { m.WeekRollovers = 1 }) },
		"leap data missing":             func(s *Scenario) { s.Receiver = model(func(m *gnsstest.Model) { m.Warm, m.LeapMissing = false, 4 }) },
		"ramps and jumps": func(s *Scenario) {
			s.Receiver = model(func(m *gnsstest.Model) {
				m.Latency.Ramp, m.Latency.Jump, m.Latency.JumpAfter = 200*time.Millisecond, 250*time.Millisecond, 10*time.Minute
			})
		},
		"bimodal": func(s *Scenario) {
			s.Receiver = model(func(m *gnsstest.Model) { m.Latency.Bimodal, m.Latency.BimodalBy = 0.4, 200*time.Millisecond })
		},
		"4800 baud, ZDA": func(s *Scenario) {
			s.Receiver = model(func(m *gnsstest.Model) { m.Baud, m.Sentences = 4800, []string{"ZDA", "RMC", "GGA"} })
		},
		"10 Hz": func(s *Scenario) {
			s.Receiver = model(func(m *gnsstest.Model) { m.RateHz, m.Baud, m.Sentences = 10, 115200, []string{"RMC", "GGA"} })
		},
		"simulator": func(s *Scenario) { s.Receiver = model(func(m *gnsstest.Model) { m.Simulator = true }) },
		"too soon valid": func(s *Scenario) {
			s.Receiver = model(func(m *gnsstest.Model) { m.Warm, m.ValidTooSoon = false, 10*time.Second })
		},
		"default date": func(s *Scenario) {
			s.Receiver = model(func(m *gnsstest.Model) { m.Warm, m.BeforeFix = false, gnsstest.DefaultDate })
		},
		"stuck": func(s *Scenario) { s.Story = scene(func(c *gnsstest.Scene) { c.Stuck = true }) },
		"held back": func(s *Scenario) {
			s.Story = append(scene(func(c *gnsstest.Scene) { c.Held = true }), Chapter{From: 6 * time.Minute, Scene: open})
		},
		"corrupt": func(s *Scenario) { s.Story = scene(func(c *gnsstest.Scene) { c.Corrupt = 0.02 }) },
		"unplugged": func(s *Scenario) {
			s.Story = append(scene(func(c *gnsstest.Scene) { c.Unplugged = true }), Chapter{From: 9 * time.Minute, Scene: open})
		},
		"dragged away": func(s *Scenario) {
			s.Story = scene(func(c *gnsstest.Scene) { c.FalseTime, c.FalseDrag = 1, time.Millisecond })
		},
		"no RTC": func(s *Scenario) { s.NoRTC, s.Learned = true, false },
		"nothing learned": func(s *Scenario) {
			s.Learned = false
		},
		"server and liar": func(s *Scenario) {
			s.Learned = false
			s.Story[0].Servers = []Server{{Name: "192.0.2.1", Error: 5 * time.Millisecond, Bound: 30 * time.Millisecond}, {Name: "192.0.2.2", Error: 2 * time.Second, Bound: 30 * time.Millisecond},
				{Name: "192.0.2.3", Error: -5 * time.Millisecond, Bound: 40 * time.Millisecond}}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for _, cold := range []bool{false, true} {
				s := base
				s.Story = append([]Chapter(nil), base.Story...)
				change(&s)
				s.Receiver.Warm = s.Receiver.Warm && !cold
				for seed := range seeds() {
					if o := play(s, seed+20); o.falseWithin > 0 || o.missed > 0 {
						t.Errorf("cold %v, seed %d: %d s of false within, %d s missed; %+v", cold, seed+20, o.falseWithin, o.missed, o.last.Clock)
					}
				}
			}
		})
	}
}
