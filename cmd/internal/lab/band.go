package lab

import (
	"fmt"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/marks"
	"noonmark/cmd/internal/world"
)

// band reads what the station's radio hears of others.
func band(l *line) (*world.Band, error) {
	b := &world.Band{Delay: 50 * time.Millisecond}
	if l.is("silent") {
		return b, nil
	}
	n, err := l.number("how many stations are heard in a period", "")
	if err != nil {
		return nil, err
	}
	if !(n >= 0 && n <= 100) {
		return nil, fmt.Errorf("a band is silent, or of so many stations, at most 100")
	}
	l.is("stations")
	b.Stations = int(n)
	for l.is(",") {
		switch {
		case l.is("all late by"):
			b.Late, err = l.span("by how much they are late")
		case l.is("all early by"):
			b.Late, err = l.span("by how much they are early")
			b.Late = -b.Late
		case l.is("delay"):
			b.Delay, err = l.span("the delay of way, filter and sound")
		case l.is("our own among them"):
			b.Own = true
		case l.is("of"):
			err = bandOf(l, b)
		default:
			err = fmt.Errorf("a band may be all late by or all early by something, have a delay, our own among them, and be of a mode")
		}
		if err != nil {
			return nil, err
		}
	}
	return b, nil
}

// timeSignal reads which time-signal station the radio hears; it tells the minute, where
// nothing else is said.
func timeSignal(l *line) (*world.TimeSignal, error) {
	t := &world.TimeSignal{Modulo: time.Minute}
	if l.is("silent") {
		return t, nil
	}
	name, err := l.word("the time-signal station")
	if err != nil {
		return nil, err
	}
	s, err := marks.Named(name)
	if err != nil {
		return nil, err
	}
	t.Name = s.Name
	for l.is(",") {
		switch {
		case l.is("late by"):
			t.Delay, err = l.span("by how much it comes later than the program assumes")
		case l.is("early by"):
			t.Delay, err = l.span("by how much it comes earlier than the program assumes")
			t.Delay = -t.Delay
		case l.is("second only"):
			t.Modulo = time.Second
		case l.is("with its date"):
			t.Modulo = 0
		default:
			err = fmt.Errorf("a time signal may be late by or early by something, second only, or with its date")
		}
		if err != nil {
			return nil, err
		}
	}
	return t, nil
}

func bandOf(l *line, b *world.Band) error {
	name, err := l.word("the mode")
	if err != nil {
		return err
	}
	m, err := clockcheck.ModeNamed(name)
	if err != nil {
		return err
	}
	if b.Period = m.Period; m.Name == "FT4" {
		b.Doubt = 152 * time.Millisecond // clockcheck/air/band
	}
	return nil
}
