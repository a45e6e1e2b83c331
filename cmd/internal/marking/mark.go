// Package marking is noonmark mark: an operator's ear tells the clock's error.
package marking

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"noonmark/clockcheck/marks"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/ask"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/places"
	"noonmark/cmd/internal/wrap"
	"noonmark/grid"
	"noonmark/status"
)

// marker leads an operator through a mark.
type marker struct {
	ctx    context.Context // the program's: a question is no reason to stay
	in     *ask.Lines
	out    io.Writer
	sample func() hostclock.Pair
	tell   func(control.Request) (control.Answer, error)
}

// marked is what mark prints as JSON.
type marked struct {
	Station string          `json:"station"`
	UTC     status.Time     `json:"utc"`
	ErrorS  float64         `json:"error_s"` // system clock − UTC by the taps alone
	BoundS  float64         `json:"bound_s"`
	Used    int             `json:"taps_used"`
	Dropped int             `json:"taps_dropped"`
	SpreadS float64         `json:"spread_s"`
	Told    bool            `json:"service_told"`
	Service *control.Marked `json:"service"`
}

// Mark sets or checks the clock by ear.
func Mark(ctx context.Context, c cli.Mark, in io.Reader, out io.Writer) (int, error) {
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	m := &marker{ctx: ctx, in: ask.New(in), out: out, sample: hostclock.Sample,
		tell: func(r control.Request) (control.Answer, error) { return control.Tell(env.ReadDirs(c.RunDir), r) }}
	if c.List {
		m.list()
		return exit.OK, nil
	}
	if c.Withdraw {
		return m.withdraw(c, out)
	}
	if c.JSON {
		m.out = io.Discard
	}
	if c.Station == "" {
		return exit.Misuse, exit.Usage(errors.New("mark: which time signal do you hear? --station NAME; noonmark mark --list shows them"))
	}
	km := -1.0
	station, err := marks.Named(c.Station)
	if err != nil {
		return exit.Misuse, exit.Usage(err)
	}
	if at, err := markPlace(c); err == nil {
		to, err := grid.Degrees(station.LatDeg, station.LonDeg)
		if err != nil {
			return exit.No, err
		}
		km = grid.Inverse(at.Point, to).DistanceM / 1000
	} else if c.Place != "" {
		return exit.Misuse, err
	}
	r, err := m.take(c, station, km)
	if err == nil && c.JSON {
		err = json.NewEncoder(out).Encode(r)
	}
	return exit.OK, err
}

// markPlace is where the station is: as said, or as published.
func markPlace(c cli.Mark) (places.Somewhere, error) {
	if c.Place != "" {
		return places.ReadPlace(c.Place)
	}
	return places.Here(c.RunDir)
}

func (m *marker) say(format string, args ...any) {
	fmt.Fprint(m.out, wrap.Text("", fmt.Sprintf(format, args...)))
}

func (m *marker) list() {
	for _, s := range marks.Stations() {
		fmt.Fprintf(m.out, "%-5s %s, kHz %s\n", s.Name, s.Place, strings.Trim(fmt.Sprint(s.KHz), "[]"))
		fmt.Fprint(m.out, wrap.Text("      ", "the minute: "+s.Tone))
	}
	m.say("Whether one is on the air changes: listen.")
}

// line reads one line; the end of the input is an error, and so is that of the program.
func (m *marker) line() (string, error) {
	s, err := m.in.Next(m.ctx)
	if err != nil {
		return "", errors.New("mark: nothing was marked")
	}
	return strings.TrimSpace(s), nil
}

// take leads through one mark and delivers it.
func (m *marker) take(c cli.Mark, s marks.Station, km float64) (*marked, error) {
	m.say("%s, %s: %s kHz.", s.Name, s.Place, strings.Trim(fmt.Sprint(s.KHz), "[]"))
	delay, pathBound := marks.Path(km, c.LongPath)
	if km < 0 {
		m.say("The place of this station is not known (say it with --place). %.0f ms ± %.0f ms are allowed for the way.", ms(delay), ms(pathBound))
	} else {
		m.say("%.0f km away: the signal is %.0f ms on its way.", km, ms(delay))
	}
	way, err := m.way(c)
	if err != nil {
		return nil, err
	}
	taps := marks.Taps{Each: time.Second, Way: way, Path: delay, PathBound: pathBound}
	if c.Minutes {
		taps.Each = time.Minute
	}
	if taps.At, err = m.taps(c, s, taps.Each); err != nil {
		return nil, err
	}
	r, err := marks.Average(taps)
	if err != nil {
		return nil, err
	}
	p := m.sample()
	system := p.System.Add(r.At.Sub(p.Local))
	m.say("%d taps taken, %d dropped, they scatter by %.0f ms: good to ± %.2f s.", r.Used, r.Dropped, ms(r.Spread), r.Bound.Seconds())
	utc, named, err := m.minute(s, system)
	if err != nil {
		return nil, err
	}
	out := &marked{Station: s.Name, UTC: status.At(utc), ErrorS: round3(system.Sub(utc).Seconds()), BoundS: round3(r.Bound.Seconds()),
		Used: r.Used, Dropped: r.Dropped, SpreadS: round3(r.Spread.Seconds())}
	m.say("By your taps alone the system clock is %.2f s %s, give or take %.2f s.", math.Abs(out.ErrorS), fastSlow(out.ErrorS), out.BoundS)
	return out, m.deliver(c, out, r, p, utc, named)
}

func ms(d time.Duration) float64 { return d.Seconds() * 1e3 }
func round3(s float64) float64   { return math.Round(s*1e3) / 1e3 }
func fastSlow(error float64) string {
	if error < 0 {
		return "slow"
	}
	return "fast"
}

// way asks how the operator taps, if the flags do not say.
func (m *marker) way(c cli.Mark) (marks.Way, error) {
	switch {
	case c.Beat:
		return marks.Anticipate, nil
	case c.React:
		return marks.React, nil
	}
	for {
		m.say("How will you tap? 1 = with the beat, expecting the tone; 2 = when you hear it.")
		switch s, err := m.line(); {
		case err != nil:
			return 0, err
		case s == "1":
			return marks.Anticipate, nil
		case s == "2":
			return marks.React, nil
		}
	}
}

// taps takes the presses.
func (m *marker) taps(c cli.Mark, s marks.Station, each time.Duration) ([]timescale.Local, error) {
	if each == time.Minute {
		m.say("The full minute: %s. Press Enter on it, %d minutes in a row.", s.Tone, c.Taps)
	} else {
		m.say("The full minute: %s. Press Enter on it, then on each second after it: %d times in all.", s.Tone, c.Taps)
	}
	var at []timescale.Local
	for len(at) < c.Taps {
		if _, err := m.line(); err != nil {
			return nil, err
		}
		at = append(at, m.sample().Local)
	}
	return at, nil
}

const minuteForm = "2006-01-02 15:04"

// minute asks which minute the first tap was; the system clock's is offered. named is
// false where the operator leaves it to what the service knows.
func (m *marker) minute(s marks.Station, system timescale.UTC) (utc timescale.UTC, named bool, err error) {
	if !s.SaysTime {
		m.say("%s never says what time it is: you must know the minute from elsewhere.", s.Name)
	}
	guess := timescale.UTCOf(system.Time().Round(time.Minute))
	for {
		m.say("Did your first tap begin the minute %s UTC, on that very day? y = yes; ? = you cannot tell; else type what it was, as YYYY-MM-DD hh:mm.",
			guess.Time().Format(minuteForm))
		text, err := m.line()
		if err != nil {
			return 0, false, err
		}
		utc, named = guess, text != "?"
		if named && !strings.EqualFold(text, "y") {
			t, err := time.Parse(minuteForm, text)
			if err != nil {
				continue
			}
			utc = timescale.UTCOf(t)
		}
		return utc, named, s.Minute(utc.Time().Minute())
	}
}

// deliver tells the service, if there is one.
func (m *marker) deliver(c cli.Mark, out *marked, r marks.Result, p hostclock.Pair, utc timescale.UTC, named bool) error {
	if c.Check {
		m.say("Nothing else is done with it (--check).")
		return nil
	}
	w := &control.Mark{BootID: hostclock.BootID(), LocalNS: r.At, AsleepS: p.SuspendOffset.Seconds(), UTC: utc, BoundS: r.Bound.Seconds()}
	if !named {
		w.UTC = 0
	}
	a, err := m.tell(control.Request{Do: "mark", Mark: w})
	if errors.Is(err, control.ErrNoService) {
		m.say("No service is running, so that nothing else is done with it. To have the clock kept: %s", config.Environment{Getenv: os.Getenv}.StartCommand())
		return nil
	}
	if err != nil {
		return err
	}
	out.Told, out.Service = true, a.Mark
	switch {
	case a.Mark == nil || !a.Mark.Placed:
		m.say("The service does not know the time to half a minute. So it cannot tell which minute that was. Mark again and name it.")
	case a.Mark.Says != nil:
		m.say("The service has it. %s", a.Mark.Says.Because)
		m.say("%s", a.Mark.Because)
		if !slices.Contains(slices.Collect(maps.Values(a.Mark.Modes)), status.Within) {
			m.say("No mode is good now. If the mark was a slip, take it back: noonmark mark --withdraw")
		}
	}
	return nil
}
