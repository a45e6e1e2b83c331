package page

import (
	"fmt"
	"math"
	"net/url"
	"regexp"
	"strings"

	"noonmark/status"
)

// view is what the templates of the glance draw: one frame for one mode. Numbers are
// written no finer than they are read at two metres, so that a part changes rarely.
type view struct {
	Live      bool
	Verdict   string // of status, and the name of its shape
	Caution   bool   // within, and an hour or less is left
	Mode      string
	InUse     string    // the station's own mode, "" when none is named
	Word      [2]string // the answer, in two lines
	Do        string
	Left      string // how long the answer lasts, "" when it promises nothing
	LeftNote  string
	Next      string // the one next step, "" when there is none
	Level     *level
	UTC, Date string
	Bound     string // "± 0.1 s", "" when not known
	Ring      *ring
	Place     placeView
	Lamps     []lamp
	Chips     []chip
	Say       string // for who cannot see
}

// The cautions, worded as everywhere in noonmark.
const (
	cautionPlace  = "Not for navigation. In distress give coordinates, not only a locator."
	cautionSender = "Times are for radio operating; no traceability to UTC is claimed. Transmit only within your licence and the local rules, and stay at the controls."
)

// cautionS is how long before its end an answer is drawn as ending, s: long enough to
// mend what can be mended (common practice, no source).
const cautionS = 3600

// chip is a mode in the list of modes.
type chip struct {
	Mode, Verdict, Word string
	Link                string
	Caution, Shown      bool
}

// verdictOf is a mode's verdict; what is none that we know is unknown.
func verdictOf(m status.Mode) string {
	switch m.Verdict {
	case status.Within, status.Borderline, status.Outside:
		return m.Verdict
	}
	return status.Unknown
}

// piece is a part of a sentence; Whole is never broken over two lines.
type piece struct {
	Text  string
	Whole bool
}

// option is an option of a command, which a line must not break behind its hyphens.
var option = regexp.MustCompile(`--[a-z-]+`)

// NextParts is Next in pieces.
func (v *view) NextParts() (out []piece) {
	rest := v.Next
	for _, at := range option.FindAllStringIndex(v.Next, -1) {
		from := at[0] - (len(v.Next) - len(rest))
		out = append(out, piece{rest[:from], false}, piece{v.Next[at[0]:at[1]], true})
		rest = v.Next[at[1]:]
	}
	if rest != "" {
		out = append(out, piece{rest, false})
	}
	return out
}

// inTwo is a heading in two lines.
func inTwo(heading string) [2]string {
	first, rest, _ := strings.Cut(heading, " ")
	return [2]string{first, rest}
}

// ending tells whether a promise has an hour or less to go.
func ending(m status.Mode) bool {
	return m.Verdict == status.Within && m.GoodForS.OK && m.GoodForS.V <= cautionS
}

// minus writes the signs of negative numbers as minuses, not as hyphens.
func minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

// nbsp keeps a unit on the line of its number.
const nbsp = "\u00a0"

// viewOf words a frame for the mode m, which may be nil.
func (p *Page) viewOf(f *frame, m *status.Mode) view {
	s := &f.snap
	v := view{Live: s.Live, Verdict: status.Unknown, Word: inTwo(status.Heading(status.Unknown)), UTC: "––:––:––", Date: "not known"}
	if f.knows {
		t := f.utc.Time()
		v.UTC, v.Date = t.Format("15:04:05"), t.Format("Mon 2006-01-02")
	}
	if c := s.Clock; c.BoundS.OK && f.knows {
		v.Bound = "±" + nbsp + upTo(c.BoundS.V) + nbsp + "s"
	}
	for _, o := range s.Modes {
		c := chip{Mode: status.Clean(o.Mode), Verdict: verdictOf(o), Word: status.Heading(o.Verdict), Caution: ending(o), Shown: m != nil && o.Mode == m.Mode}
		if c.Link = "/?mode=" + url.QueryEscape(o.Mode); o.InUse {
			v.InUse, c.Link = c.Mode, "/"
		}
		v.Chips = append(v.Chips, c)
	}
	if m != nil {
		v.verdict(m, s.Clock)
		v.Ring = ringOf(m, p.cfg.Periods[m.Mode], s.Clock.GuardS)
		v.Level = levelOf(m, s.Clock)
		if a := status.Advise(s, []status.Mode{*m}); a.Kind != status.AdviceNone {
			v.Next = status.Clean(a.Text)
		}
	} else {
		v.Do = "No mode is judged."
	}
	v.place(s.Position, p.cfg.Square)
	v.lamps(s)
	v.Say = v.Mode + ": " + v.Word[0] + " " + v.Word[1] + ". " + v.Do
	if !s.Live {
		v.Say = "Simulation. " + v.Say
	}
	if v.Caution {
		v.Say += " Less than an hour is left."
	}
	return v
}

// SecAt is where the seconds begin in UTC.
func (v *view) SecAt() int { return strings.LastIndex(v.UTC, ":") + 1 }

// verdict words the answer for a mode. Do not is said before why.
func (v *view) verdict(m *status.Mode, c status.Clock) {
	v.Mode, v.Verdict, v.Word, v.Caution = status.Clean(m.Mode), verdictOf(*m), inTwo(status.Heading(m.Verdict)), ending(*m)
	tol := plain(m.ToleranceS) + nbsp + "s"
	switch v.Verdict {
	case status.Within:
		v.Do = "The clock is right for " + v.Mode + "."
		if m.GoodForS.OK {
			v.Left, v.LeftNote = spaced(status.Span(m.GoodForS.V)), "left if all sources fail"
			if !sourced(c.Basis) {
				v.LeftNote = "left"
			}
		}
	default:
		v.Do = "Do not key up."
	}
	if v.Verdict != status.Within && c.ErrorS.OK && c.GuardS.OK {
		v.Left, v.LeftNote = upTo(math.Abs(c.ErrorS.V)+c.GuardS.V)+nbsp+"s", "off at worst; "+v.Mode+" allows "+tol
	}
}

// sourced tells whether something outside tells the time now.
func sourced(basis string) bool {
	return basis == status.BasisGNSS || basis == status.BasisPPS || basis == status.BasisNetwork
}

// spaced keeps each number with its unit.
func spaced(span string) string { return strings.ReplaceAll(span, " ", nbsp) }

// upTo writes seconds rounded up, as coarse as a glance needs: two digits, and no finer
// than a hundredth.
func upTo(s float64) string {
	switch {
	case !(s < 1e6):
		return "more than 1000000"
	case s < 0.095:
		return fmt.Sprintf("%.2f", math.Ceil(s*100-1e-6)/100)
	case s < 9.95:
		return fmt.Sprintf("%.1f", math.Ceil(s*10-1e-6)/10)
	}
	return fmt.Sprintf("%.0f", math.Ceil(s-1e-6))
}

// plain writes a number without idle decimals.
func plain(v float64) string { return minus(fmt.Sprintf("%.6g", v)) }
