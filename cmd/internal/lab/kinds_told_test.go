package lab

import (
	"slices"
	"testing"
	"time"

	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
)

const (
	minute = time.Minute
	hour   = time.Hour
)

// plain is a night of 12 h beside no server, of a lone receiver whose sentences come 100 ms
// late, and a compensated hardware clock. Its cold start takes a minute: it has spoken after two.
func plain() *newNight {
	s := &newNight{c: &Case{}, end: 12 * hour, sky: gnsstest.Scene{Satellites: 9}}
	s.c.Length, s.c.Compensated, s.c.Story = s.end, true, []world.Chapter{{Scene: s.sky}}
	s.c.Receiver = gnsstest.Model{Latency: gnsstest.Latency{Mean: 100 * time.Millisecond}, ColdFix: minute}
	return s
}

func (s *newNight) servers(from, to, by time.Duration) {
	v := []world.Server{{Name: "a", Error: by, Bound: 20 * time.Millisecond}}
	s.then(from, func(c *world.Chapter) { c.Servers = v })
	s.then(to, func(c *world.Chapter) { c.Servers = nil })
}

func (s *newNight) liar(from, to, by time.Duration) {
	s.servers(from, to, by)
	s.liars = append(s.liars, lie{window{from, to}, by, 0})
}

func (s *newNight) wrongMark(at, by time.Duration) {
	s.marks = append(s.marks, wrongMark{at, &world.Mark{Error: by, Bound: 250 * time.Millisecond}})
}

// evening is two hours beside an honest server, and ten minutes without power.
func (s *newNight) evening() {
	s.begin = 2*hour + 10*minute
	s.servers(0, 2*hour, 0)
	s.power(2*hour, s.begin, false, false)
}

func (s *newNight) swap(at time.Duration) {
	m := s.c.Receiver
	m.NextSecond = false
	s.then(at, func(c *world.Chapter) { c.Plug = &m })
}

func (s *newNight) forget(at time.Duration) {
	s.then(at, func(c *world.Chapter) { c.Down, c.Forget = time.Second, true })
	s.forgets = append(s.forgets, at)
}

const small = 500 * time.Millisecond

// What is declared hangs on who has told the time, and on what was lost since.
func TestDeclaredUntilAServerTells(t *testing.T) {
	in := func(class int, from, to time.Duration) Declared { return Declared{window{from, to}, class} }
	for _, c := range []struct {
		name string
		is   func(s *newNight)
		want []Declared
	}{
		{"a small lie, and nobody has told", func(s *newNight) { s.liar(5*hour, 6*hour, small) }, []Declared{in(4, 5*hour, 0)}},
		{"… somebody has", func(s *newNight) { s.evening(); s.liar(5*hour, 6*hour, small) }, nil},
		{"… and all is forgotten", func(s *newNight) { s.evening(); s.power(3*hour, 4*hour, false, true); s.liar(5*hour, 6*hour, small) }, []Declared{in(4, 5*hour, 0)}},
		{"… and told again", func(s *newNight) {
			s.evening()
			s.power(3*hour, 4*hour, false, true)
			s.servers(4*hour+10*minute, 4*hour+20*minute, 0)
			s.liar(5*hour, 6*hour, small)
		}, nil},
		{"… over a way that hides half a second", func(s *newNight) {
			s.then(4*hour, func(c *world.Chapter) { c.Way = world.Way{Delay: time.Second, There: 0.9} })
			s.servers(4*hour, 4*hour+30*minute, 0)
			s.liar(5*hour, 6*hour, small)
		}, []Declared{in(4, 5*hour, 0)}},
		{"a large lie after a loss, beside a receiver", func(s *newNight) { s.evening(); s.forget(4 * hour); s.liar(5*hour, 6*hour, 2*time.Second) }, nil},
		{"a loss amid a small lie", func(s *newNight) { s.evening(); s.liar(5*hour, 6*hour, small); s.forget(5*hour + 10*minute) }, []Declared{in(4, 5*hour+10*minute, 0)}},
		{"a large lie at a start on nothing", func(s *newNight) {
			s.evening()
			s.liar(5*hour, 6*hour, 40*time.Second)
			s.power(5*hour+10*minute, 5*hour+20*minute, false, true)
		}, []Declared{in(4, 5*hour+20*minute, 5*hour+22*minute)}},
		{"… where one among them is right", func(s *newNight) {
			s.evening()
			s.liar(5*hour, 6*hour, 40*time.Second)
			s.then(5*hour, func(c *world.Chapter) { c.Servers = append(append(c.Servers, c.Servers[0]), world.Server{}) })
			s.power(5*hour+10*minute, 5*hour+20*minute, false, true)
		}, nil},
		{"… in the tent", func(s *newNight) {
			s.evening()
			s.then(5*hour, func(c *world.Chapter) { c.Scene.Satellites = 1 })
			s.liar(5*hour, 6*hour, 40*time.Second)
			s.power(5*hour+10*minute, 5*hour+20*minute, false, true)
			s.then(5*hour+40*minute, func(c *world.Chapter) { c.Scene.Satellites = 9 })
		}, []Declared{in(4, 5*hour+20*minute, 5*hour+42*minute)}},
		{"a small lie, and then a server", func(s *newNight) { s.liar(5*hour, 6*hour, small); s.servers(7*hour, 8*hour, 0) }, []Declared{in(4, 5*hour, 7*hour+minute)}},
		{"a small lie, and then a loss", func(s *newNight) { s.liar(5*hour, 6*hour, small); s.forget(7 * hour) }, []Declared{in(4, 5*hour, 7*hour+time.Second)}},
		{"a small lie by a portal before an honest server's names", func(s *newNight) {
			s.then(3*hour, func(c *world.Chapter) { c.Portal = &world.Server{Error: small} })
			s.servers(3*hour, 4*hour, 0)
			s.then(4*hour, func(c *world.Chapter) { c.Portal = nil })
			s.liar(5*hour, 6*hour, small)
		}, []Declared{in(4, 5*hour, 0)}},
		{"a large lie at the first start of all", func(s *newNight) { s.liar(minute, hour, 40*time.Second) }, []Declared{in(4, minute, 2*minute)}},
		{"a large lie where the clock stood still, and told it", func(s *newNight) { s.stopsToldAt(5 * hour) }, []Declared{in(4, 6*hour, 6*hour+2*minute)}},
		{"… before it was told", func(s *newNight) { s.stopsToldAt(hour) }, nil},
		{"a unit that came in the dark", func(s *newNight) {
			s.evening()
			s.c.NoRTC = true
			s.swap(s.begin)
			s.liar(5*hour, 6*hour, small)
		}, []Declared{in(4, 5*hour, 0)}},
		{"… beside a hardware clock", func(s *newNight) { s.evening(); s.swap(s.begin); s.liar(5*hour, 6*hour, small) }, nil},
		{"… that came in the light", func(s *newNight) { s.evening(); s.c.NoRTC = true; s.swap(4 * hour); s.liar(5*hour, 6*hour, small) }, nil},

		{"… and a power cut since", func(s *newNight) {
			s.evening()
			s.c.NoRTC = true
			s.swap(3 * hour)
			s.power(4*hour, 4*hour+minute, false, false)
			s.liar(5*hour, 6*hour, small)
		}, nil},

		{"the second to come, and nobody has told", func(s *newNight) { s.c.Receiver.NextSecond = true }, []Declared{in(9, 0, 0)}},
		{"… until somebody tells", func(s *newNight) { s.c.Receiver.NextSecond = true; s.servers(5*hour, 6*hour, 0) }, []Declared{in(9, 0, 5*hour+minute)}},
		{"… and then lies a little", func(s *newNight) {
			s.c.Receiver.NextSecond = true
			s.servers(3*hour, 4*hour, 0)
			s.liar(5*hour, 6*hour, small)
		}, []Declared{in(9, 0, 3*hour+minute)}},
		{"… and all is forgotten", func(s *newNight) { s.c.Receiver.NextSecond = true; s.evening(); s.forget(5 * hour) }, []Declared{in(9, 5*hour, 0)}},
		{"… by another unit", func(s *newNight) { s.c.Receiver.NextSecond = true; s.evening(); s.swap(4 * hour); s.forget(5 * hour) }, nil},

		{"a receiver lies from its start, before a server", func(s *newNight) { s.lie(0, 3*hour, 3*time.Second, 0); s.servers(hour, 2*hour, 0) }, []Declared{in(3, 0, hour+minute)}},
		{"all is forgotten amid a lie, beside a server", func(s *newNight) { s.evening(); s.lie(hour, 90*minute, 3*time.Second, 0); s.forget(80 * minute) }, nil},
		{"a lie over a power cut that forgets", func(s *newNight) {
			s.evening()
			s.power(5*hour, 6*hour, true, true)
			s.lie(5*hour+minute, 7*hour, 9*time.Second, 0)
		}, []Declared{in(3, 6*hour, 0)}},
		{"… a minute and a half after it", func(s *newNight) { s.lie(minute*3/2, 7*hour, 9*time.Second, 0) }, []Declared{in(3, minute*3/2, 0)}},
		{"… of a receiver that starts warm", func(s *newNight) { s.c.Receiver.Warm = true; s.lie(minute*3/2, 7*hour, 9*time.Second, 0) }, nil},
		{"… that does not forget", func(s *newNight) {
			s.evening()
			s.power(5*hour, 6*hour, true, false)
			s.lie(5*hour+minute, 7*hour, 9*time.Second, 0)
		}, nil},
		{"… where a server in the night told", func(s *newNight) {
			s.servers(3*hour, 4*hour, 0)
			s.power(5*hour, 6*hour, true, false)
			s.lie(5*hour+minute, 7*hour, 9*time.Second, 0)
		}, nil},
		{"a clock that stood still before servers told the time", func(s *newNight) {
			s.stopsAt(hour)
			s.servers(4*hour, 5*hour, 0)
			s.power(5*hour, 6*hour, true, false)
			s.lie(5*hour+minute, 7*hour, 9*time.Second, 0)
		}, nil},
		{"… and after", func(s *newNight) {
			s.stopsAt(5 * hour)
			s.servers(3*hour, 4*hour, 0)
			s.power(5*hour, 6*hour, true, false)
			s.lie(5*hour+minute, 7*hour, 9*time.Second, 0)
		}, []Declared{in(3, 6*hour, 0), in(6, 5*hour, 0)}},
		{"its own clock, valid too soon, on nothing", func(s *newNight) {
			s.c.Receiver.ValidTooSoon, s.c.Receiver.OwnError = 10*time.Second, 2*time.Second
			s.evening()
			s.power(5*hour, 6*hour, false, true)
		}, []Declared{in(3, 6*hour, 6*hour+21*minute)}},
		{"… and its leap-second data are late", func(s *newNight) {
			s.c.Receiver.ValidTooSoon, s.c.Receiver.OwnError, s.c.Receiver.AlmanacAfter = 10*time.Second, 2*time.Second, 35*time.Minute
			s.evening()
			s.power(5*hour, 6*hour, false, true)
		}, []Declared{in(3, 6*hour, 6*hour+36*minute+15*time.Second)}},
		{"… of a unit that is there no more", func(s *newNight) {
			s.swap(0)
			s.c.Receiver.ValidTooSoon, s.c.Receiver.OwnError = 10*time.Second, 2*time.Second
		}, nil},
		{"… on what was told", func(s *newNight) {
			s.c.Receiver.ValidTooSoon, s.c.Receiver.OwnError = 10*time.Second, 2*time.Second
			s.evening()
			s.power(5*hour, 6*hour, false, false)
		}, nil},
	} {
		t.Run(c.name, func(t *testing.T) { declares(t, c.is, c.want) })
	}
}

// A wrong mark: at a start until the receiver speaks; so little wrong that it fits a latency,
// until a server tells.
func TestDeclaredMarks(t *testing.T) {
	in := func(from, to time.Duration) []Declared { return []Declared{{window{from, to}, 8}} }
	fast, slow := -time.Second, time.Second
	for _, c := range []struct {
		name string
		is   func(s *newNight)
		want []Declared
	}{
		{"a second fast, and nobody has told", func(s *newNight) { s.wrongMark(5*hour, fast) }, in(5*hour, 0)},
		{"… until a server tells", func(s *newNight) { s.wrongMark(5*hour, fast); s.servers(7*hour, 8*hour, 0) }, in(5*hour, 7*hour+minute)},
		{"… until all is forgotten", func(s *newNight) { s.wrongMark(5*hour, fast); s.forget(6 * hour) }, in(5*hour, 6*hour+time.Second)},
		{"… beside a server", func(s *newNight) { s.wrongMark(5*hour, fast); s.servers(4*hour, 8*hour, 0) }, nil},
		{"… beside one that came now", func(s *newNight) { s.wrongMark(5*hour, fast); s.servers(5*hour, 8*hour, 0) }, nil},
		{"… and somebody has told", func(s *newNight) { s.evening(); s.wrongMark(5*hour, fast) }, nil},
		{"… and all was forgotten", func(s *newNight) { s.evening(); s.forget(4 * hour); s.wrongMark(5*hour, fast) }, in(5*hour, 0)},
		{"… a latency too large for it", func(s *newNight) { s.c.Receiver.Latency.Mean = 600 * time.Millisecond; s.wrongMark(5*hour, fast) }, nil},
		{"… of another unit", func(s *newNight) {
			s.c.Receiver.Latency.Mean = 600 * time.Millisecond
			m := s.c.Receiver
			m.Latency.Mean = 0
			s.then(hour, func(c *world.Chapter) { c.Plug = &m })
			s.wrongMark(5*hour, fast)
		}, in(5*hour, 0)},
		{"a second slow: before the receiver", func(s *newNight) { s.wrongMark(5*hour, slow) }, nil},
		{"… beside one of the second before", func(s *newNight) { s.c.Receiver.PreviousSecond = true; s.wrongMark(5*hour, slow) }, in(5*hour, 0)},
		{"a second fast beside one of the second to come", func(s *newNight) {
			s.c.Receiver.NextSecond, s.c.Receiver.Latency.Mean = true, 800*time.Millisecond
			s.wrongMark(5*hour, fast)
		}, append([]Declared{{window{}, 9}}, in(5*hour, 0)...)},
		{"two seconds fast", func(s *newNight) { s.wrongMark(5*hour, 2*fast) }, nil},
		{"… over a network", func(s *newNight) { s.c.Link.Relay = true; s.wrongMark(5*hour, 2*fast) }, nil},
		{"three seconds, ten minutes after the first start", func(s *newNight) { s.wrongMark(10*minute, 3*slow) }, nil},
		{"… a minute after", func(s *newNight) { s.wrongMark(minute, 3*slow) }, in(minute, 2*minute)},
		{"… in the tent", func(s *newNight) {
			s.then(0, func(c *world.Chapter) { c.Scene.Satellites = 1 })
			s.then(hour, func(c *world.Chapter) { c.Scene.Satellites = 9 })
			s.wrongMark(10*minute, 3*slow)
		}, in(10*minute, 62*minute)},
		{"… at a later start, beside a hardware clock", func(s *newNight) {
			s.power(3*hour, 4*hour, true, false)
			s.then(4*hour, func(c *world.Chapter) { c.Scene.Satellites = 1 })
			s.wrongMark(4*hour+minute, 3*slow)
		}, in(4*hour+minute, 4*hour+2*minute)},
		{"… and the power fails before it speaks", func(s *newNight) { s.wrongMark(minute/2, 3*slow); s.power(minute, hour, true, false) }, in(minute/2, 62*minute)},
	} {
		t.Run(c.name, func(t *testing.T) { declares(t, c.is, c.want) })
	}
}

// stopsAt carries the computer out for half an hour into a cold in which the hardware clock stands still.
func (s *newNight) stopsAt(at time.Duration) {
	s.c.RTC.StopsBelowC = -20
	s.colds = append(s.colds, window{at, at + 30*minute})
}

// stopsToldAt does that to a clock that tells; then servers lie by 40 s, from the dark on.
func (s *newNight) stopsToldAt(at time.Duration) {
	s.stopsAt(at)
	s.c.RTC.StopTold = true
	s.servers(3*hour, 4*hour, 0)
	s.power(5*hour, 6*hour, true, false)
	s.liar(5*hour+minute, 7*hour, 40*time.Second)
}

func declares(t *testing.T, is func(*newNight), want []Declared) {
	t.Helper()
	s := plain()
	is(s)
	s.tell()
	if s.declare(); !slices.Equal(s.c.MayMiss, want) {
		t.Errorf("declared %v, not %v", s.c.MayMiss, want)
	}
}
