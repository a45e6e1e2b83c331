package page

import (
	"fmt"
	"math"
	"strings"

	"noonmark/status"
)

// view is what the templates draw: one frame for one mode.
type view struct {
	Live          bool
	Verdict       string // of status, and the name of its shape
	Word          string
	Mode          string
	InUse         string // the station's own mode, "" when none is named
	Do            string // what to do
	Detail        string
	UTC, Date     string
	Until         string // "" when nothing is promised
	UntilFor      string
	Clock         string
	Because       string
	Basis         string
	Locator       string
	LocatorFine   string // what comes after the sixth character
	LocatorNote   string
	Chips         []chip
	Ring          *ring
	References    []reference
	Budget        []term
	GuardText     string
	ClockRows     []Row
	PlaceRows     []Row
	Distances     Distances
	SkySummary    string
	Sky           []bar
	Facts         []Row
	Events        []Row
	Narrow, Wide  *picture
	CautionPlace  string
	CautionSender string
}

// The cautions, worded as everywhere in noonmark.
const (
	cautionPlace  = "Not for navigation. In distress give coordinates, not only a locator."
	cautionSender = "Times are for radio operating; no traceability to UTC is claimed. Transmit only within your licence and the local rules, and stay at the controls."
)

// chip is a mode in the compact list.
type chip struct {
	Mode, Verdict, Word, Margin string
	Shown                       bool
}

type reference struct{ Name, Trust, Says, Because string }

type term struct {
	Term, Guard, Because string
	Share                float64 // of the guard, 0 to 100
}

// bar is a satellite's signal.
type bar struct {
	Name, Signal string
	X, Y, H      float64
}

var verdictWords = map[string]string{status.Within: "Within", status.Borderline: "Borderline", status.Outside: "Outside"}

// viewOf words a frame for the mode m, which may be nil.
func (p *Page) viewOf(f *frame, m *status.Mode) view {
	s := &f.snap
	v := view{Live: s.Live, Verdict: status.Unknown, Word: "Unknown", Do: "Do not key up.", Detail: "Nothing tells the time yet.",
		UTC: "––:––:––", Date: "UTC is not known", Clock: clockText(s.Clock), Because: status.Clean(s.Clock.Because),
		Basis: basisName(s.Clock.Basis), CautionPlace: cautionPlace, CautionSender: cautionSender, Facts: f.Facts}
	if f.knows {
		t := f.utc.Time()
		v.UTC, v.Date = t.Format("15:04:05"), t.Format("Mon 2006-01-02")
	}
	if m != nil {
		v.verdict(m)
		v.Ring = ringOf(m, p.cfg.Periods[m.Mode], s.Clock.GuardS)
	} else {
		v.Detail = "No mode is judged."
	}
	for _, o := range s.Modes {
		if o.InUse {
			v.InUse = status.Clean(o.Mode)
		}
		v.Chips = append(v.Chips, chip{status.Clean(o.Mode), verdictOf(o), wordOf(o), marginText(o), m != nil && o.Mode == m.Mode})
	}
	v.place(s.Position)
	if s.Position != nil && p.cfg.Place != nil && s.Position.LatDeg.OK && s.Position.LonDeg.OK {
		var forms []Row
		forms, v.Distances = p.cfg.Place(*s.Position)
		v.PlaceRows = append(forms, v.PlaceRows...)
	}
	v.clock(s.Clock)
	v.references(s.References)
	v.sky(s.Position, f.Satellites)
	v.receiver(s.Receiver)
	v.battery(s.References)
	v.events(s.Events)
	return v
}

// basisName is the word for a basis; the abbreviations in capitals.
func basisName(b string) string {
	switch b {
	case status.BasisPPS, status.BasisGNSS, status.BasisRTC:
		return strings.ToUpper(b)
	}
	return status.Clean(b)
}

// verdictOf is the verdict, never one that is not known here.
func verdictOf(m status.Mode) string {
	if verdictWords[m.Verdict] == "" {
		return status.Unknown
	}
	return m.Verdict
}

func wordOf(m status.Mode) string {
	if w := verdictWords[m.Verdict]; w != "" {
		return w
	}
	return "Unknown"
}

func marginText(m status.Mode) string {
	switch {
	case m.Verdict == status.Within && m.GoodForS.OK:
		return "good for " + status.Span(m.GoodForS.V)
	case m.Verdict == status.Unknown || !m.MarginS.OK:
		return "tolerance " + plain(m.ToleranceS) + " s"
	}
	return "margin " + minus(status.Number(m.MarginS.V)) + " s"
}

// minus writes the signs of negative numbers as minuses, not as hyphens.
func minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

// nbsp keeps a unit on the line of its number.
const nbsp = "\u00a0"

func (v *view) verdict(m *status.Mode) {
	v.Mode, v.Verdict, v.Word = status.Clean(m.Mode), verdictOf(*m), wordOf(*m)
	tol := plain(m.ToleranceS)
	switch m.Verdict {
	case status.Within:
		v.Do = "The clock is right for " + v.Mode + "."
		v.Detail = "Margin " + status.Number(m.MarginS.V) + " s of " + tol + nbsp + "s."
		if m.GoodUntilUTC.OK {
			v.Until = m.GoodUntilUTC.V.Time().Format("02 Jan 15:04") + " UTC"
		}
		if m.GoodForS.OK {
			v.UntilFor = status.Span(m.GoodForS.V) + " without another reading"
		}
	case status.Borderline:
		v.Detail = "The clock may or may not be within " + tol + nbsp + "s."
	case status.Outside:
		v.Detail = "The clock is off by more than " + tol + nbsp + "s."
	}
}

// clockText is the clock's error in a sentence.
func clockText(c status.Clock) string {
	if !c.ErrorS.OK {
		return "Nothing to judge the clock by."
	}
	b := "The clock is " + status.FastSlow(c.ErrorS)
	if c.BoundS.OK {
		b += ", ± " + status.Number(c.BoundS.V) + " s"
	}
	return b + "."
}

func (v *view) clock(c status.Clock) {
	v.ClockRows = append(v.ClockRows, Row{"System clock", strings.TrimSuffix(strings.TrimPrefix(clockText(c), "The clock is "), ".")})
	if c.GuardS.OK {
		v.GuardText = status.Number(c.GuardS.V) + " s"
		v.ClockRows = append(v.ClockRows, Row{"Verdicts use", "± " + v.GuardText})
	}
	if c.RatePPM.OK {
		v.ClockRows = append(v.ClockRows, Row{"Gains", minus(fmt.Sprintf("%.2f ppm ± %s ppm (%.2f s a day)", c.RatePPM.V, status.Number(c.RateBoundPPM.V), c.RatePPM.V*0.0864))})
	}
	v.ClockRows = append(v.ClockRows, Row{"Proved", listText(c.Proved)}, Row{"UTC comes from", listText(c.Ancestry)}, Row{"Steering", strings.TrimSuffix(strings.TrimPrefix(c.SteeringText(), "steering: "), ".")})
	for _, t := range c.Budget {
		share := 0.0
		if c.GuardS.OK && t.GuardS.OK && c.GuardS.V > 0 {
			share = math.Round(min(t.GuardS.V/c.GuardS.V, 1) * 100)
		}
		v.Budget = append(v.Budget, term{status.Clean(t.Term), known(t.GuardS, "s"), status.Clean(t.Because), share})
	}
}

func listText(l []string) string {
	if len(l) == 0 {
		return "nothing"
	}
	return status.Clean(strings.Join(l, ", "))
}

func known(f status.Float, unit string) string {
	if !f.OK {
		return "not known"
	}
	return status.Number(f.V) + " " + unit
}

func (v *view) references(refs []status.Reference) {
	for _, r := range refs {
		says := "says nothing"
		if r.ErrorS.OK {
			says = "the clock is " + status.FastSlow(r.ErrorS)
			if r.BoundS.OK {
				says += ", ± " + status.Number(r.BoundS.V) + " s"
			}
		}
		if r.AgeS.OK && r.AgeS.V >= 10 {
			says += ", " + status.Span(math.Floor(r.AgeS.V/10)*10) + " ago"
		}
		v.References = append(v.References, reference{status.Clean(r.Name), status.Clean(r.Trust), says, status.Clean(r.Because)})
	}
}
