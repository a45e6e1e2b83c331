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

// Headings for a verdict, as an operator says it; the schema's words stand beside them.
var headings = map[string]string{Within: "Clock good", Borderline: "Not sure", Outside: "Clock wrong", Unknown: "No time"}

// NoContact is the heading where noonmark does not speak.
const NoContact = "No contact"

// Heading is a verdict as an operator says it; that of Unknown for any other word.
func Heading(verdict string) string {
	if h := headings[verdict]; h != "" {
		return h
	}
	return headings[Unknown]
}

// Simulated stands before everything that speaks of no real clock.
const Simulated = "SIMULATION: this is not this computer's clock."

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

// Text renders the report for 80 columns: see TextFor.
func (r Report) Text() string { return r.TextFor(lineWidth) }

// TextFor renders the report in lines of at most width columns, 40 or more: the answer
// with the next step, then one line a mode, then the clock.
func (r Report) TextFor(width int) string {
	p := page{width: width}
	p.line(0, r.Headline())
	if r.rehearsed != nil {
		const mark = "SIMULATED  "
		in := r.rehearsed.TextFor(max(width, narrowest) - len(mark))
		for line := range strings.Lines(in) {
			p.WriteString(mark + line)
		}
		return p.String()
	}
	for _, m := range r.Modes {
		if r.Answer == CannotTell {
			p.line(0, fmt.Sprintf("%-8s cannot tell", Clean(m.Mode)))
			continue
		}
		p.line(0, m.text())
	}
	if r.Answer == CannotTell {
		p.line(0, Clean(r.Because))
		return p.String()
	}
	if r.moved {
		p.line(0, Clean(r.Because))
	}
	p.line(0, r.Clock.text())
	return p.String()
}

// Headline is the answer in one line, with the next step.
func (r Report) Headline() string {
	next := Clean(r.Advice.Text)
	switch {
	case r.Answer == CannotTell && r.Simulated:
		return "Ready: cannot tell. " + Simulated
	case r.Answer == CannotTell:
		return "Ready: cannot tell. " + NoContact + ". " + next
	case r.Answer == Yes && r.Advice.Kind == AdviceRenew:
		return "Ready: yes, but " + lower(next)
	case r.Answer == Yes:
		head := "Ready: yes. " + r.head()
		if r.Advice.Kind != AdviceNone {
			head += " " + next
		}
		return head
	}
	return "Ready: no. " + r.head() + " " + next
}

// head is the heading of the worst mode; one that all share names none.
func (r Report) head() string {
	w := worst(r.Modes)
	head := Heading(w.Verdict)
	shared := len(r.Modes) > 1
	for _, m := range r.Modes {
		shared = shared && m.Verdict == w.Verdict
	}
	switch {
	case w.Mode == "" || w.Verdict == Unknown:
	case shared:
		head += " for all these modes"
	default:
		head += " for " + Clean(w.Mode)
	}
	return head + "."
}

func lower(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

func (p *page) notLive(s Snapshot) {
	if !s.Live {
		p.line(0, Simulated)
	}
}

// text is the verdict in one line, and why it is not a better one.
func (m Mode) text() string {
	b := fmt.Sprintf("%-8s %-10s", Clean(m.Mode), Clean(m.Verdict))
	switch m.Verdict {
	case Within:
		switch until := m.until(); {
		case m.GoodUntilUTC.OK:
			b += " good until " + until + ","
		case until != "":
			b += " good for " + strings.Trim(until, "()") + ","
		}
		b += " margin " + with(m.MarginS, "s")
	case Borderline:
		b += " may be over the " + Number(m.ToleranceS) + " s allowed: do not key up"
	case Outside:
		b += " more than the " + Number(m.ToleranceS) + " s allowed: do not key up"
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
		b += ", ± " + Number(c.BoundS.V) + " s (99 %)"
	}
	if c.GuardS.OK {
		b += ", worst case " + Number(c.GuardS.V) + " s"
	}
	if w := BasisWords(c.Basis); w != "" {
		b += ", by " + w
	}
	return b + "."
}

// Line is the place in one line.
func (p *Position) Line() string { return p.text() }

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
