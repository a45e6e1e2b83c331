package status

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
)

// Why renders the judgement explained, for 80 columns: see WhyFor.
func (s Snapshot) Why() string { return s.WhyFor(lineWidth) }

// WhyFor renders the judgement explained: the answer of Brief, the verdict on each mode,
// what the clock's error stands on, each reference with its trust and reason, and the
// error budget. At most width columns, 40 or more; as of s.Written, like Text.
func (s Snapshot) WhyFor(width int) string {
	p := page{width: width}
	p.brief(s)
	p.clock(s)
	p.modes(s.Modes)
	p.references(s.References)
	p.budget(s.Clock)
	p.thermometer(s.Thermometer)
	p.position(s.Position)
	p.receiver(s.Receiver)
	p.sharing(s.Sharing)
	p.timeService(s.TimeService)
	p.events(s.Events)
	return p.String()
}

// Brief is why in five lines: the answer, the next step, the clock, whom it is judged
// by, what is done to it; and what noonmark cannot do, where there is such a thing.
func (s Snapshot) Brief(width int) string {
	p := page{width: width}
	p.brief(s)
	p.line(0, s.Clock.text())
	p.line(0, s.mainReference())
	p.line(0, upper(s.Clock.SteeringText()))
	return p.String()
}

// brief is the answer and the next step.
func (p *page) brief(s Snapshot) {
	p.notLive(s)
	r := Report{Modes: Asked(s.Modes), Clock: s.Clock}
	p.line(0, r.head()+" "+r.word())
	a := Advise(&s, r.Modes)
	p.line(0, "Next: "+Clean(a.Text))
	for i, q := range s.Problems {
		if a.Kind != AdviceRepair || i > 0 {
			p.line(0, "Problem: "+Clean(q.Text))
		}
	}
}

// word is the schema's word for the answer.
func (r Report) word() string {
	if w := worst(r.Modes); w.Verdict != "" {
		return "(" + Clean(w.Verdict) + ")"
	}
	return "(" + Unknown + ")"
}

// mainReference is the one that explains most: the receiver, or the first that is
// there at all.
func (s Snapshot) mainReference() string {
	for _, r := range s.References {
		if r.Kind == "gnss" || len(s.References) == 1 {
			return upper(Clean(r.Name)) + " " + Clean(r.Trust) + ". " + Clean(r.Because)
		}
	}
	return "No source of time is known."
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func (p *page) clock(s Snapshot) {
	c := s.Clock
	at := "an unknown time"
	if s.Written.SystemUTC.OK {
		at = s.Written.SystemUTC.V.Time().Format(utcSecond) + " UTC"
	}
	p.line(0, "The system clock reads "+at+": "+FastSlow(c.ErrorS))
	if c.ErrorS.OK {
		p.line(2, "± "+with(c.BoundS, "s")+" (99 %); worst case "+with(c.GuardS, "s")+", which verdicts use")
	}
	basis := BasisWords(c.Basis)
	if basis == "" {
		basis = "nothing"
	}
	p.line(2, "judged by "+basis)
	p.line(2, "confirmed: "+list(c.Proved)+"; knowledge of UTC from: "+list(c.Ancestry))
	if c.RatePPM.OK {
		p.line(2, "its oscillator gains "+with(c.RatePPM, "ppm")+" ± "+with(c.RateBoundPPM, "ppm")+
			fmt.Sprintf(" (%s s a day)", Number(c.RatePPM.V*86400e-6)))
	}
	if c.ClockRatePPM.OK && math.Abs(c.ClockRatePPM.V-c.RatePPM.V) > 1 {
		p.line(2, "the clock gains "+with(c.ClockRatePPM, "ppm")+" at present, as it is being corrected")
	}
	p.line(2, c.SteeringText())
	if c.Because != "" {
		p.line(2, Clean(c.Because))
	}
	if u := s.Unseen(); u != "" {
		p.line(2, u)
	}
}

func (p *page) modes(modes []Mode) {
	p.line(0, "Modes")
	for _, m := range modes {
		p.line(2, m.text())
		detail := "tolerance " + Number(m.ToleranceS) + " s, period " + short(m.PeriodS) + " s"
		if m.Verdict != Within && m.MarginS.OK {
			detail += ", margin " + Number(m.MarginS.V) + " s"
		}
		if m.InUse {
			detail += ", in use"
		}
		p.line(11, detail)
	}
	if len(modes) == 0 {
		p.line(2, "none")
	}
}

func (p *page) references(refs []Reference) {
	p.line(0, "References")
	for _, r := range refs {
		says := "says nothing"
		if r.ErrorS.OK {
			says = "says the clock is " + FastSlow(r.ErrorS) + ", ± " + with(r.BoundS, "s")
		}
		if r.AgeS.OK {
			says += ", " + Span(r.AgeS.V) + " ago"
		}
		p.line(2, fmt.Sprintf("%-12s %-8s %s", Clean(r.Name), Clean(r.Trust), says))
		if r.Because != "" {
			p.line(4, Clean(r.Because))
		}
		switch r.Battery {
		case BatteryLow:
			p.line(4, "Its battery is low: change it, or the time is lost with the power.")
		case BatteryEmpty:
			p.line(4, "Its battery is empty or missing: the time is lost with the power.")
		}
	}
	if len(refs) == 0 {
		p.line(2, "none")
	}
}

func (p *page) budget(c Clock) {
	if len(c.Budget) == 0 {
		return
	}
	p.line(0, "Error budget: what makes up the worst case of "+with(c.GuardS, "s"))
	for _, t := range c.Budget {
		p.line(2, fmt.Sprintf("%-20s %12s  %s", Clean(t.Term), with(t.GuardS, "s"), Clean(t.Because)))
	}
}

func (p *page) thermometer(t *Thermometer) {
	if t == nil {
		return
	}
	p.line(0, "Thermometer, "+Clean(t.Sensor)+": "+celsius(t.Celsius))
	p.line(2, Clean(t.Because))
}

func celsius(c Float) string {
	if !c.OK {
		return "not known"
	}
	return fmt.Sprintf("%.1f °C", c.V)
}

func (p *page) position(pos *Position) {
	p.line(0, pos.text())
	if pos == nil {
		return
	}
	if pos.LatDeg.OK && pos.LonDeg.OK {
		p.line(2, degrees(pos.LatDeg.V, "N", "S")+" "+degrees(pos.LonDeg.V, "E", "W")+" (WGS 84)")
	}
	detail := orNone(pos.Fix) + " fix"
	if pos.AveragedS.OK && pos.AveragedS.V >= 1 {
		detail += ", averaged over " + Span(pos.AveragedS.V)
	}
	if pos.AltM.OK {
		detail += fmt.Sprintf(", %.0f m above the sea", pos.AltM.V)
	}
	if pos.EdgeM.OK {
		detail += fmt.Sprintf(", %.0f m from the edge of the locator's cell", pos.EdgeM.V)
	}
	p.line(2, detail)
}

// degrees writes an angle with its hemisphere, to about a metre, and with no more
// decimals than were published: a coarsened place must not look exact.
func degrees(v float64, positive, negative string) string {
	if v < 0 {
		v, positive = -v, negative
	}
	return strconv.FormatFloat(math.Round(v*1e5)/1e5, 'f', -1, 64) + "° " + positive
}

func (p *page) receiver(r *Receiver) {
	if r == nil {
		return
	}
	name := "Receiver " + Clean(r.Device)
	if r.Identity != "" {
		name += ", " + Clean(r.Identity)
	}
	if r.Baud > 0 {
		name += fmt.Sprintf(", %d baud", r.Baud)
	}
	p.line(0, name)
	p.line(2, fmt.Sprintf("%d sentences, %d epochs, %d of them valid by its own word",
		r.Sentences, r.Epochs, r.EpochsValid))
	reasons := make([]string, 0, len(r.Skipped))
	for reason, n := range r.Skipped {
		if n > 0 {
			reasons = append(reasons, fmt.Sprintf("%s %d", Clean(reason), n))
		}
	}
	sort.Strings(reasons)
	p.line(2, "skipped: "+list(reasons))
}

func (p *page) sharing(h *Sharing) {
	if h == nil {
		return
	}
	p.line(0, fmt.Sprintf("Shared with other programs: %d sentences, %d connected now", h.Lines, h.Readers))
	if h.Lost > 0 {
		p.line(2, fmt.Sprintf("%d were lost by programs that did not read in time", h.Lost))
	}
}

func (p *page) timeService(t *TimeService) {
	if t == nil {
		return
	}
	p.line(0, fmt.Sprintf("Time for other devices: %d questions answered", t.Answered))
	if t.Limited > 0 || t.Dropped > 0 {
		p.line(2, fmt.Sprintf("not answered: %d from devices that ask too often, %d that could not be", t.Limited, t.Dropped))
	}
}

func (p *page) events(events []Event) {
	if len(events) == 0 {
		return
	}
	p.line(0, "Events")
	for _, e := range events {
		at := "time not known"
		if e.UTC.OK {
			at = e.UTC.V.Time().Format(utcSecond) + " UTC"
		}
		p.line(2, at+"  "+Clean(e.Text))
	}
}

func list(l []string) string { return orNone(Clean(strings.Join(l, ", "))) }

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return Clean(s)
}

// short writes a period without idle decimals.
func short(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0") }
