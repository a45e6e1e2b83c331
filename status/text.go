package status

import (
	"fmt"
	"strings"
)

// BasisWords says what an estimate stands on, for a person; "" for nothing.
func BasisWords(basis string) string { return basisWords[basis] }

var basisWords = map[string]string{
	BasisPPS: "the satellite receiver's second pulse", BasisGNSS: "the satellite receiver",
	BasisNetwork: "network time servers", BasisOperator: "the operator's mark",
	BasisRTC: "the hardware clock", BasisHoldover: "the computer's own oscillator, on its own",
}

// Text renders the snapshot for a glance: the modes, the clock, the place. It is
// as of s.Written and does not say how old that is: ask Fresh.
func (s Snapshot) Text() string {
	var p page
	p.notLive(s)
	for _, m := range s.Modes {
		p.line(0, m.text())
	}
	if len(s.Modes) == 0 {
		p.line(0, "No mode is judged.")
	}
	p.line(0, s.Clock.text())
	p.line(0, s.Position.text())
	return p.String()
}

// Text renders the report: one line a mode, then the answer.
func (r Report) Text() string {
	var p page
	for _, m := range r.Modes {
		if r.Answer == CannotTell {
			p.line(0, fmt.Sprintf("%-8s cannot tell", Clean(m.Mode)))
			continue
		}
		p.line(0, m.text())
	}
	switch r.Answer {
	case Yes:
		p.line(0, "Ready: yes. "+r.Clock.text())
	case No:
		p.line(0, "Ready: no. "+strings.TrimSpace(r.Clock.text()+" "+Clean(r.Because)))
	default:
		p.line(0, "Ready: cannot tell. "+Clean(r.Because))
	}
	return p.String()
}

func (p *page) notLive(s Snapshot) {
	if !s.Live {
		p.line(0, "SIMULATION OR REPLAY: this is not this computer's clock.")
	}
}

// text is the verdict in one line, and why it is not a better one.
func (m Mode) text() string {
	b := fmt.Sprintf("%-8s %-10s", Clean(m.Mode), Clean(m.Verdict))
	switch m.Verdict {
	case Within:
		b += " margin " + with(m.MarginS, "s")
		if until := m.until(); until != "" {
			b += ", good until " + until
		}
	case Borderline:
		b += " may or may not be within " + Number(m.ToleranceS) + " s: do not key up"
	case Outside:
		b += " the clock is off by more than " + Number(m.ToleranceS) + " s: do not key up"
	default:
		b += " nothing tells the time yet: do not key up"
	}
	return b
}

// until says how long the verdict lasts without another reading.
func (m Mode) until() string {
	b := ""
	if m.GoodUntilUTC.OK {
		b = m.GoodUntilUTC.V.Time().Format(utcMinute) + " UTC"
	}
	if m.GoodForS.OK {
		b = strings.TrimSpace(b + " (" + Span(m.GoodForS.V) + ")")
	}
	return b
}

func (c Clock) text() string {
	if !c.ErrorS.OK {
		return "The clock: nothing to judge it by."
	}
	b := "The clock is " + FastSlow(c.ErrorS)
	if c.BoundS.OK {
		b += ", ± " + Number(c.BoundS.V) + " s"
	}
	if w := BasisWords(c.Basis); w != "" {
		b += ", by " + w
	}
	return b + "."
}

func (p *Position) text() string {
	if p == nil {
		return "Place: not known, no satellite fix yet."
	}
	b := "Place " + Clean(p.Locator)
	if p.BoundM.OK {
		b += fmt.Sprintf(", ± %.0f m", p.BoundM.V)
	}
	if p.Satellites.OK {
		b += fmt.Sprintf(", %.0f satellites", p.Satellites.V)
	}
	if past := p.Past(); past != "" {
		b += ", " + past
	}
	if p.Moving {
		b += ", moving"
	}
	return b + "."
}

// Past says that the place is not of now, and how old it is; "" when it is of now.
func (p *Position) Past() string {
	switch {
	case p.Kept && p.AgeS.OK:
		return "from before noonmark started, " + Span(p.AgeS.V) + " ago"
	case p.Kept:
		return "from before noonmark started, nobody knows how long ago"
	case !p.AgeS.OK:
		return "fix of unknown age"
	case p.AgeS.V >= oldFixS:
		return "fix " + Span(p.AgeS.V) + " old"
	}
	return ""
}

// oldFixS is the age from which a fix is called old: receivers give one a second
// or one in ten.
const oldFixS = 15
