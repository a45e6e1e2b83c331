package lab

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
)

// Case is a scenario file: a world, its story, and what must hold.
type Case struct {
	world.Scenario
	Modes       []clockcheck.Mode
	Latency     time.Duration // told to the judge; 0 = not
	Edge        clockcheck.Edge
	Make        station.MakeJudge // which judge; nil = the station's own
	Steered     bool              // the station sets and keeps the system clock
	Compensated bool              // the hardware clock is known to be
	Expect      []Expectation
	Shows       []string             // explanations without which this scenario falls
	MayMiss     []Declared           // error ± guard need not hold the truth: declared invisible
	Record      func(*station.Input) // is shown what reaches the station; nil = nobody is
	Kinds       []string             // of a random night: what is unusual about it
	Fault       *time.Duration       // since when something is wrong that must be seen; nil = nothing
	at          time.Duration
}

// window is a part of the story, both ends included.
type window struct{ from, to time.Duration }

func (w window) has(t time.Duration) bool { return t >= w.from && t <= w.to }

// camp is where a scenario plays that does not say: a salt flat, locator FG69.
var camp = gnsstest.Place{LatDeg: -20.1338, LonDeg: -67.4891, AltM: 3656}

// Parse reads a scenario file. An error names the line.
func Parse(name string, r io.Reader) (*Case, error) {
	c := &Case{}
	c.Name, c.Place, c.Receiver = name, camp, gnsstest.Typical()
	c.RTC.FirstTick, c.RTC.T0, c.RTC.InvalidFails = time.Second, 25, true
	c.Story = []world.Chapter{{Text: "The station starts.", Scene: gnsstest.Scene{Satellites: 11}}}
	in := bufio.NewScanner(r)
	for n := 1; in.Scan(); n++ {
		words, err := cut(in.Text())
		if err == nil && len(words) > 0 {
			l := &line{words: words}
			if err = c.statement(l); err == nil && !l.done() {
				err = fmt.Errorf("%q is not understood here", strings.Join(l.words[l.at:], " "))
			}
		}
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", name, n, err)
		}
	}
	if err := in.Err(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return c, c.finish()
}

// finish fills in what was not said and checks what can only be checked whole.
func (c *Case) finish() error {
	if c.Modes == nil {
		for _, n := range []string{"FT8", "FT4", "JS8-6"} {
			m, err := clockcheck.ModeNamed(n)
			if err != nil {
				return err
			}
			c.Modes = append(c.Modes, m)
		}
	}
	if c.Length == 0 {
		return fmt.Errorf("%s: it does not say how long it lasts", c.Name)
	}
	for i := range c.Expect {
		e := &c.Expect[i]
		if e.when.to == 0 {
			e.when.to = c.Length
		}
		if e.when.from > c.Length {
			return fmt.Errorf("%s: %s: the story is over by then", c.Name, e.Text)
		}
		if e.mode != "" && !c.shows(e.mode) {
			return fmt.Errorf("%s: %s: the mode is not among those shown", c.Name, e.Text)
		}
	}
	return nil
}

func (c *Case) shows(mode string) bool {
	for _, m := range c.Modes {
		if m.Name == mode {
			return true
		}
	}
	return false
}

// statement reads one line.
func (c *Case) statement(l *line) (err error) {
	switch {
	case l.is("about"):
		c.Summary = strings.TrimSpace(c.Summary + " " + l.rest())
	case l.is("starts"):
		err = c.starts(l)
	case l.is("lasts"):
		c.Length, err = l.span("the length")
	case l.is("oscillator"):
		err = l.list(func() error { return c.oscillator(l) })
	case l.is("air"):
		err = l.list(func() error { return c.air(l) })
	case l.is("thermometer"):
		c.Thermometer = &world.Thermometer{}
		err = l.list(func() error { return thermometer(l, c.Thermometer) })
	case l.is("transmitter"):
		c.Transmitter = &world.Transmitter{Over: 5 * time.Minute, On: 5 * time.Minute, Off: 5 * time.Minute}
		err = l.list(func() error { return transmitter(l, c.Transmitter) })
	case l.is("line"):
		err = link(l, &c.Link)
	case l.is("system clock"):
		c.SystemError, err = l.offset("the system clock's error")
	case l.is("receiver none"):
		c.NoReceiver = true
	case l.is("receiver"):
		err = l.list(func() error { return receiver(l, &c.Receiver) })
	case l.is("pulse edge"):
		c.Edge, err = edge(l)
	case l.is("pulse"):
		err = l.list(func() error { return pulse(l, &c.Pulse) })
	case l.is("hardware clock none"):
		c.NoRTC = true
	case l.is("hardware clock"):
		err = l.list(func() error { return c.hardwareClock(l) })
	case l.is("learned"):
		c.Learned = true
	case l.is("clock steered"):
		c.Steered = true
	case l.is("latency known"):
		c.Latency, err = l.span("the latency")
	case l.is("modes"):
		err = l.list(func() error { return c.mode(l) })
	case l.is("at"):
		err = c.event(l)
	case l.is("expect"):
		err = c.expect(l)
	case l.is("shows explanation"):
		err = l.list(func() error { return c.showsExplanation(l) })
	case l.is("may miss the truth"):
		err = c.mayMissThe(l)
	default:
		err = fmt.Errorf("%q begins no statement", l.words[0])
	}
	return err
}

func (c *Case) starts(l *line) error {
	text := l.rest()
	at, err := time.Parse("2006-01-02 15:04:05", text)
	if err != nil {
		return fmt.Errorf("the start %q is no instant such as 2031-02-03 04:05:06", text)
	}
	c.Start = timescale.UTCOf(at).Add(250 * time.Millisecond)
	return nil
}

func (c *Case) showsExplanation(l *line) error {
	name := l.rest()
	if _, err := Forbid(name); err != nil {
		return err
	}
	c.Shows = append(c.Shows, name)
	return nil
}

func (c *Case) mode(l *line) error {
	w, err := l.word("a mode")
	if err != nil {
		return err
	}
	m, err := clockcheck.ModeNamed(w)
	c.Modes = append(c.Modes, m)
	return err
}

// fast takes ppm with fast or slow.
func (l *line) fast(what string) (float64, error) {
	v, err := l.number(what, "ppm")
	switch {
	case err != nil || v == 0 || l.is("fast"):
		return v, err
	case l.is("slow"):
		return -v, nil
	}
	return 0, fmt.Errorf("%s: say fast or slow", what)
}

func (c *Case) oscillator(l *line) (err error) {
	o := &c.Osc
	switch {
	case l.is("wander"):
		o.WanderPPM, err = l.number("the wander in an hour", "ppm")
	case l.is("noise"):
		o.NoisePPM, err = l.number("the noise over a second", "ppm")
	case l.is("temperature"):
		o.TempPPM, err = l.number("the change by 1 °C", "ppm")
	case l.is("ageing"):
		o.AgeingPPM, err = l.number("the ageing in a day", "ppm")
	case l.is("tuning fork"):
		o.CurvePPM = -0.035 // NXP UM10301 section 9: -0.034, and -0.035 to -0.04
	case l.is("cubic"):
		o.CubicPPM, err = l.number("the change by 1 °C³", "ppm")
	default:
		o.PPM, err = l.fast("the oscillator's error")
	}
	return err
}

func (c *Case) air(l *line) (err error) {
	if l.is("swing") {
		c.Air.SwingC, err = l.number("half of what day and night differ", "C")
		return err
	}
	v, err := l.number("the mean temperature", "C")
	c.Air.OffC = v - 25
	return err
}

// Read reads a scenario from a file; its name is that of the scenario.
func Read(path string) (*Case, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("lab: %w", err)
	}
	defer f.Close()
	return Parse(strings.TrimSuffix(filepath.Base(path), ".scenario"), f)
}
