package lab

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
	"noonmark/status"
)

// Ears are the kinds of nights with an ear.
var Ears = []string{"night", "drag", "lie", "swap"}

// RandomEar draws a night of a station that hears others: a night is one of Random's with
// a band upon it; in the others the receiver of a lone, steered station is dragged off, lies
// from its first fix on, or gives way to one of the same make whose sentences come later.
func RandomEar(seed uint64, kind string) *Case {
	d := &draw{Rand: rand.New(rand.NewPCG(seed, 0x65617273))}
	if kind == "night" {
		c := Random(seed)
		c.Name = "night with an ear"
		d.fading(c)
		return c
	}
	c := &Case{}
	c.Name, c.Place, c.Kinds = kind+" with an ear", camp, []string{kind}
	for _, n := range []string{"FT8", "FT4", "JS8-6"} {
		m, err := clockcheck.ModeNamed(n)
		if err != nil {
			panic(err) // the table has them
		}
		c.Modes = append(c.Modes, m)
	}
	c.Osc = world.Oscillator{PPM: 20 * d.NormFloat64(), WanderPPM: d.log(0.03, 0.5), NoisePPM: d.log(1e-4, 1e-2), TempPPM: 0.1 * d.NormFloat64()}
	c.Air = world.Air{OffC: d.between(-30, 5), SwingC: d.between(1, 10)}
	c.RTC.FirstTick, c.RTC.T0, c.RTC.InvalidFails, c.NoRTC = time.Second, 25, true, true
	c.Receiver, c.Steered = d.plain(), true
	c.SystemError = d.span(-500*time.Millisecond, 500*time.Millisecond)
	sky := gnsstest.Scene{Satellites: 7 + d.IntN(7)}
	c.Story = []world.Chapter{{Scene: sky, Band: d.band(6, 25)}}
	d.wrong(c, kind, sky)
	return c
}

// wrong lets the one thing happen that the night is for.
func (d *draw) wrong(c *Case, kind string, sky gnsstest.Scene) {
	sign := 1 - 2*d.IntN(2)
	begin := d.span(20*time.Minute, 2*time.Hour)
	switch kind {
	case "drag": // until long after it leaves the tolerance
		ppm := d.log(20, 195)
		sky.FalseTime, sky.FalseDrag = 1, time.Duration(ppm*1e3)*time.Duration(sign)
		c.Story = append(c.Story, world.Chapter{From: begin, Scene: sky})
		c.Length = begin + time.Duration(2*0.5/ppm*1e6*float64(time.Second)) + 10*time.Minute
	case "lie":
		begin = 0
		c.Story[0].Scene.FalseTime = time.Duration(sign) * d.span(time.Second, 7*time.Second)
		if d.chance(0.5) {
			c.Story[0].Scene.FalseTime = c.Story[0].Scene.FalseTime.Round(time.Second)
		}
		c.Length = time.Hour
	case "swap": // while it runs, or while the power is off
		begin = max(begin, 45*time.Minute)
		other := c.Receiver
		other.Latency.Mean += d.span(300*time.Millisecond, 600*time.Millisecond)
		ch := world.Chapter{From: begin, Scene: sky, Plug: &other}
		if d.chance(0.5) {
			ch.Off = d.logSpan(time.Minute, 12*time.Hour)
		}
		c.Story = append(c.Story, ch)
		begin += ch.Off
		c.Length = begin + 90*time.Minute
	}
	c.Fault = &begin
}

// plain draws a receiver without faults: latencies and sets as recorded files have them.
func (d *draw) plain() gnsstest.Model {
	m := gnsstest.Typical()
	m.Latency = gnsstest.Latency{Mean: d.logSpan(20*time.Millisecond, 500*time.Millisecond), Jitter: d.logSpan(300*time.Microsecond, 30*time.Millisecond),
		Wander: d.logSpan(300*time.Microsecond, 5*time.Millisecond), Restart: d.span(0, 20*time.Millisecond)}
	m.Warm, m.ColdFix = d.chance(0.5), d.logSpan(20*time.Second, 3*time.Minute)
	return m
}

// band draws honest stations: a radio's filter delays by 0 to 60 ms, the way by 2 to 40
// (common practice, no source).
func (d *draw) band(least, most float64) *world.Band {
	return &world.Band{Stations: int(d.log(least, most)), Delay: d.span(0, 60*time.Millisecond) + d.span(2*time.Millisecond, 40*time.Millisecond), Own: d.chance(0.2)}
}

// fading puts a band upon a night: it is there at the begin, and fades out and comes back.
func (d *draw) fading(c *Case) {
	open, silent := d.band(6, 25), &world.Band{}
	c.Story[0].Band = open
	now := open
	for i := 1; i < len(c.Story); i++ {
		if d.chance(0.3) {
			if now = open; c.Story[i-1].Band != silent && d.chance(0.5) {
				now = silent
			}
		}
		c.Story[i].Band = now
	}
}

// Seen is when a night's fault was seen, and when it did harm, s after its begin; −1 = never.
type Seen struct {
	Doubted float64 `json:"doubted_s"` // a source was doubted or called faulty
	Beyond  float64 `json:"beyond_s"`  // the station's estimate was off by more than FT4 bears
	Harmed  float64 `json:"harmed_s"`  // … and FT4 was within all the same
}

// InTime tells whether FT4 was refused whenever the estimate was off by more than it bears: a refusal before,
// or after, does not help who keys up then.
func (s *Seen) InTime() bool { return s.Harmed < 0 }

// SeenTable prints, of nights with a fault, in how many it was seen before it did harm.
func SeenTable(w io.Writer, nights []*Night) {
	var after []float64 // s until a source was doubted, of those that did harm
	n, seen, harm := 0, 0, 0
	for _, v := range nights {
		s := v.Seen
		if s == nil {
			continue
		}
		n++
		if s.InTime() {
			seen++
		} else {
			fmt.Fprintf(w, "seed %d: the estimate was off by more than FT4 bears after %.0f s, and FT4 was within after %.0f s\n", v.Seed, s.Beyond, s.Harmed)
		}
		if s.Beyond < 0 {
			continue
		}
		if harm++; s.Doubted < 0 {
			fmt.Fprintf(w, "seed %d: the estimate was off by more than FT4 bears after %.0f s, and no source was ever doubted\n", v.Seed, s.Beyond)
			s.Doubted = math.Inf(1)
		}
		after = append(after, math.Max(s.Doubted-s.Beyond, 0))
	}
	if n == 0 {
		return
	}
	fmt.Fprintf(w, "%d nights with a fault: FT4 was refused whenever the error was more than it bears in %.1f %%\n", n, 100*float64(seen)/float64(n))
	if harm > 0 {
		fmt.Fprintf(w, "in %d it became more; a source was called doubted after that by %.0f s (median), %.0f s (99 %%)\n", harm, quantile(after, 0.5), quantile(after, 0.99))
	}
}

const ft4Bears = 0.5 // s: its tolerance

// lookForFault notes what the station makes of the night's fault.
func (o *observer) lookForFault(at time.Duration, truth float64, s *status.Snapshot) {
	if o.c.Fault == nil || at < *o.c.Fault {
		return
	}
	if o.night.Seen == nil {
		o.night.Seen = &Seen{-1, -1, -1}
	}
	n, t := o.night.Seen, (at - *o.c.Fault).Seconds()
	first := func(v *float64, is bool) {
		if is && *v < 0 {
			*v = t
		}
	}
	for _, r := range s.References {
		first(&n.Doubted, r.Trust == status.Doubted || r.Trust == status.Faulty)
	}
	beyond := s.Clock.ErrorS.OK && math.Abs(s.Clock.ErrorS.V-truth) > ft4Bears
	first(&n.Beyond, beyond)
	for _, m := range s.Modes {
		first(&n.Harmed, beyond && m.Mode == "FT4" && m.Verdict == status.Within)
	}
}
