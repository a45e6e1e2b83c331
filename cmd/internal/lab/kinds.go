package lab

import (
	"math/rand/v2"
	"slices"
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
)

// act changes how things stand from an instant of the story on.
type act struct {
	at time.Duration
	do func(*world.Chapter)
}

// newNight is a night of the new kinds while it is drawn.
type newNight struct {
	draw
	c          *Case
	acts       []act
	begin, end time.Duration // of the night
	sky        gnsstest.Scene
	lies       []lie    // of the receiver
	behind     []lie    // of its line
	liars      []lie    // of all servers
	offs       []window // power-offs
	forgets    []time.Duration
	colds      []window        // carried out into the cold
	set        []time.Duration // the hardware clock, by others
	marks      []wrongMark
	leaps      []time.Duration // of the crystal, in a tent, by more than 15 ppm
}

// wrongMark is an operator's, and when it is made.
type wrongMark struct {
	at time.Duration
	*world.Mark
}

// lie is a part of the night in which somebody's time is false.
type lie struct {
	window
	by   time.Duration // at its begin
	drag float64       // ppm
}

// kind is a way in which a night is unlike those of Random.
type kind struct {
	name string
	put  func(*newNight)
}

// RandomNew draws a night of the new kinds: a station as Random's, with two to five of the
// kinds below upon it. They are written from the fact book, from data sheets and recorded
// files, by somebody who did not look at the judge meanwhile. only, if it is not "", is a
// kind that must be among them.
func RandomNew(seed uint64, only string) *Case {
	s := &newNight{draw: draw{Rand: rand.New(rand.NewPCG(seed, 0x737472616e6765))}, c: &Case{}}
	c := s.c
	c.Name, c.Place = "new kinds", camp
	for _, n := range []string{"FT8", "FT4", "JS8-6"} {
		m, err := clockcheck.ModeNamed(n)
		if err != nil {
			panic(err) // the table has them
		}
		c.Modes = append(c.Modes, m)
	}
	c.Osc = world.Oscillator{PPM: 20 * s.NormFloat64(), WanderPPM: s.log(0.03, 0.5), NoisePPM: s.log(1e-4, 1e-2),
		TempPPM: 0.1 * s.NormFloat64(), AgeingPPM: 0.01 * s.NormFloat64()}
	c.Air = world.Air{OffC: s.between(-30, 5), SwingC: s.between(1, 10)}
	s.clock(c)
	c.Receiver = s.receiver()
	c.Receiver.Latency.Ramp = 0 // Random has it
	c.Steered = s.chance(0.5)
	c.SystemError = s.span(-500*time.Millisecond, 500*time.Millisecond)
	c.Thermometer = drawThermometer(seed)
	s.sky = gnsstest.Scene{Satellites: 5 + s.IntN(9)}
	s.home()
	s.usual()
	for _, i := range s.Perm(len(kinds))[:2+s.IntN(4)] {
		if k := &kinds[i]; k.name != only {
			c.Kinds = append(c.Kinds, k.name)
			k.put(s)
		}
	}
	for i := range kinds {
		if k := &kinds[i]; k.name == only {
			c.Kinds = append(c.Kinds, k.name)
			k.put(s)
		}
	}
	s.tell()
	s.declare()
	return c
}

// KindNames are the new kinds.
func KindNames() (names []string) {
	for _, k := range kinds {
		names = append(names, k.name)
	}
	return names
}

// home puts an evening beside honest servers before the night, for most.
func (s *newNight) home() {
	c := s.c
	c.Story = []world.Chapter{{Scene: s.sky}}
	if !s.chance(0.35) {
		stay, off := s.logSpan(20*time.Minute, 6*time.Hour), s.logSpan(time.Minute, 72*time.Hour)
		cut := s.chance(0.3)
		c.Story[0].Servers = s.upright(1 + s.IntN(3))
		s.power(stay, stay+off, cut, false)
		s.then(stay, func(c *world.Chapter) { c.Servers, c.Portal, c.Way = nil, nil, world.Way{} })
		s.begin = stay + off
	}
	s.end = s.begin + NightLength
	c.Length = s.end
}

// upright are n honest servers, each with an address and an upstream of its own. They are the
// same few names wherever the station is, for they stand in its settings; what is between it and
// them is another thing at each place.
func (s *newNight) upright(n int) (out []world.Server) {
	for i := range n {
		v := s.server("server " + string(rune('a'+i)))
		v.ID, v.Port, v.Stratum = [4]byte{198, 51, 100, byte(1 + i)}, 123, 2
		v.Follows = [4]byte{203, 0, 113, byte(1 + i)}
		out = append(out, v)
	}
	return out
}

// usual lets things happen that Random knows too, fewer of them.
func (s *newNight) usual() {
	for range s.IntN(4) {
		from, to := s.part(time.Minute, 4*time.Hour)
		switch s.IntN(5) {
		case 0, 1:
			s.inside(from, to)
		case 2:
			s.unplugged(from, to)
		case 3:
			s.power(from, to, s.chance(0.7), s.chance(0.1))
		case 4:
			v := s.upright(1)
			s.then(from, func(c *world.Chapter) { c.Servers = v })
			s.then(to, func(c *world.Chapter) { c.Servers = nil })
		}
	}
}

// instant is one of the night.
func (s *newNight) instant() time.Duration { return s.begin + s.span(0, s.end-s.begin-time.Minute) }

// part is one of the night, between two lengths.
func (s *newNight) part(lo, hi time.Duration) (from, to time.Duration) {
	from = s.instant()
	return from, min(from+s.logSpan(lo, hi), s.end)
}

// then lets something be so, or happen, at an instant.
func (s *newNight) then(at time.Duration, do func(*world.Chapter)) {
	s.acts = append(s.acts, act{at, do})
}

// inside takes the receiver under a roof for a part of the night.
func (s *newNight) inside(from, to time.Duration) {
	n := s.IntN(3)
	s.then(from, func(c *world.Chapter) { c.Scene.Satellites = n })
	s.then(to, func(c *world.Chapter) { c.Scene.Satellites = s.sky.Satellites })
}

func (s *newNight) unplugged(from, to time.Duration) {
	s.then(from, func(c *world.Chapter) { c.Scene.Unplugged = true })
	s.then(to, func(c *world.Chapter) { c.Scene.Unplugged = false })
}

// power takes the power away for a part of the night.
func (s *newNight) power(from, to time.Duration, cut, forget bool) {
	s.then(from, func(c *world.Chapter) { c.Off, c.Cut, c.Forget = to-from, cut, forget })
	s.offs = append(s.offs, window{from, to})
	if forget {
		s.forgets = append(s.forgets, from)
	}
}

// lie makes the receiver's time false for a part of the night.
func (s *newNight) lie(from, to, by time.Duration, ppm float64) {
	s.then(from, func(c *world.Chapter) { c.Scene.FalseTime, c.Scene.FalseDrag = by, time.Duration(ppm*1e3) })
	s.then(to, func(c *world.Chapter) { c.Scene.FalseTime, c.Scene.FalseDrag = 0, 0 })
	s.lies = append(s.lies, lie{window{from, to}, by, ppm})
}

// tell makes the story of the acts.
func (s *newNight) tell() {
	slices.SortStableFunc(s.acts, func(a, b act) int { return int(a.at - b.at) })
	for _, a := range s.acts {
		if a.at >= s.c.Length {
			continue
		}
		last := &s.c.Story[len(s.c.Story)-1]
		now := world.Chapter{From: a.at, Scene: last.Scene, Servers: last.Servers, Portal: last.Portal, Way: last.Way}
		a.do(&now)
		s.c.Story = append(s.c.Story, now)
	}
}
