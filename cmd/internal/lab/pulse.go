package lab

import (
	"fmt"
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/world"
)

// pulse reads one property of the receiver's pulse.
func pulse(l *line, p *world.Pulse) (err error) {
	switch {
	case l.is("inverted"):
		p.Inverted = true
	case l.is("jitter"):
		p.Jitter, err = l.span("the pulse's jitter")
	case l.is("late by"):
		p.Late, err = l.span("how late it is stamped")
	case l.is("missing"):
		p.Missing, err = l.number("the share of edges lost", "%")
	case l.is("spurious"):
		p.Spurious, err = l.number("the share of seconds with a false edge", "%")
	case l.is("runs on at"):
		p.FreePPM, err = l.number("its rate without a fix", "ppm")
	default:
		p.Width, err = l.span("the pulse's length")
	}
	return err
}

func edge(l *line) (clockcheck.Edge, error) {
	switch {
	case l.is("assert"):
		return clockcheck.EdgeAssert, nil
	case l.is("clear"):
		return clockcheck.EdgeClear, nil
	}
	return clockcheck.EdgeUnknown, fmt.Errorf("an edge is assert or clear")
}

// operatorsMark reads an operator's mark: by ear, or with a clock that was borrowed.
func operatorsMark(l *line) (*world.Mark, error) {
	m := &world.Mark{Bound: 250 * time.Millisecond}
	switch {
	case l.is("by ear"):
	case l.is("borrowed from us"):
		m.Borrowed, m.OurOwn = true, true
	case l.is("borrowed"):
		m.Borrowed = true
	default:
		return nil, fmt.Errorf("a mark is by ear, borrowed, or borrowed from us")
	}
	for l.is(",") {
		var err error
		switch {
		case l.is("bound"):
			m.Bound, err = l.span("the mark's bound")
		case l.is("late by"):
			m.Error, err = l.span("the mark's error")
		case l.is("early by"):
			m.Error, err = l.span("the mark's error")
			m.Error = -m.Error
		default:
			err = fmt.Errorf("a mark may have a bound, and be late by or early by something")
		}
		if err != nil {
			return nil, err
		}
	}
	return m, nil
}
