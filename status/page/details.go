package page

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// details are what stands below the glance, drawn when somebody looks at it.
type details struct {
	Because    string
	Basis      string
	References []reference
	Budget     []term
	ClockRows  []Row
	PlaceRows  []Row
	Aloud      []aloud
	Distances  Distances
	SkySummary string
	Sky        *sky
	Facts      []Row
	Problems   []string
	Events     []Row
	Night      *picture
	Made       string // UTC at which it was made
}

type reference struct{ Name, Trust, Says, Because string }

type term struct {
	Term, Guard, Because string
	Share                float64 // of the guard, 0 to 100
}

// detailsOf words what is known beside the verdict on m, which may be nil.
func (p *Page) detailsOf(f *frame, m *status.Mode, wide bool) details {
	s := &f.snap
	d := details{Because: status.Clean(s.Clock.Because), Basis: status.BasisWords(s.Clock.Basis), Facts: f.Facts, Made: "UTC not known"}
	if f.knows {
		d.Made = f.utc.Time().Format("2006-01-02 15:04:05") + " UTC"
	}
	at := timescale.UTC(0)
	if f.knows {
		at = f.utc
	}
	d.place(s.Position, at, p.cfg.Place)
	d.clock(s.Clock)
	d.references(s.References)
	d.sky(s.Position, f.Satellites, p.record.horizon())
	d.receiver(s.Receiver)
	for _, r := range s.References {
		if r.Battery != "" {
			d.Facts = append([]Row{{"Battery of the " + status.Clean(r.Name), status.Clean(r.Battery)}}, d.Facts...)
		}
	}
	all := append(p.record.earlier(f), s.Events...)
	d.events(all)
	for _, q := range s.Problems {
		d.Problems = append(d.Problems, status.Clean(q.Text))
	}
	if m != nil {
		w := 340.0
		if wide {
			w = 900
		}
		night := draw(chart{points: p.record.last(pastLimitS, 240), ahead: f.Ahead, mode: m, clock: s.Clock, events: all, now: f.utc, knows: f.knows}, w)
		d.Night = &night
	}
	return d
}

func (d *details) place(q *status.Position, at timescale.UTC, describe func(status.Position, timescale.UTC) (forms, around []Row, d Distances)) {
	if q == nil {
		return
	}
	var forms, around []Row
	if describe != nil && q.LatDeg.OK && q.LonDeg.OK {
		forms, around, d.Distances = describe(*q, at)
	}
	d.Aloud = readAloud(q, forms)
	if q.BoundM.OK {
		d.PlaceRows = append(d.PlaceRows, Row{"Accuracy", fmt.Sprintf("± %.0f m (99 %%)", q.BoundM.V)})
	}
	if q.AltM.OK {
		d.PlaceRows = append(d.PlaceRows, Row{"Height", minus(fmt.Sprintf("%.0f m above the sea", q.AltM.V))})
	}
	d.PlaceRows = append(append(d.PlaceRows, Row{"Fix", status.Clean(q.Fix)}), around...)
}

// clockText is the clock's error in a sentence.
func clockText(c status.Clock) string {
	if !c.ErrorS.OK {
		return "nothing to judge it by"
	}
	b := status.FastSlow(c.ErrorS)
	if c.BoundS.OK {
		b += ", ± " + status.Number(c.BoundS.V) + " s"
	}
	return b
}

func (d *details) clock(c status.Clock) {
	d.ClockRows = append(d.ClockRows, Row{"System clock", clockText(c)})
	if c.GuardS.OK {
		d.ClockRows = append(d.ClockRows, Row{"Worst case", status.Number(c.GuardS.V) + " s more"})
	}
	if c.RatePPM.OK {
		d.ClockRows = append(d.ClockRows, Row{"Oscillator gains", minus(fmt.Sprintf("%.2f ppm ± %s ppm (%.2f s a day)", c.RatePPM.V, status.Number(c.RateBoundPPM.V), c.RatePPM.V*0.0864))})
	}
	d.ClockRows = append(d.ClockRows, Row{"Confirmed", listText(c.Proved)}, Row{"UTC comes from", listText(c.Ancestry)},
		Row{"Steering", strings.TrimSuffix(strings.TrimPrefix(c.SteeringText(), "steering: "), ".")})
	for _, t := range c.Budget {
		share := 0.0
		if c.GuardS.OK && t.GuardS.OK && c.GuardS.V > 0 {
			share = math.Round(min(t.GuardS.V/c.GuardS.V, 1) * 100)
		}
		d.Budget = append(d.Budget, term{status.Clean(t.Term), known(t.GuardS, "s"), status.Clean(t.Because), share})
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

func (d *details) references(refs []status.Reference) {
	for _, r := range refs {
		says := "says nothing"
		if r.ErrorS.OK {
			says = "the clock is " + status.FastSlow(r.ErrorS)
			if r.BoundS.OK {
				says += ", ± " + status.Number(r.BoundS.V) + " s"
			}
		}
		if r.AgeS.OK && r.AgeS.V >= 10 {
			says += ", " + ago(r.AgeS)
		}
		d.References = append(d.References, reference{status.Clean(r.Name), status.Clean(r.Trust), says, status.Clean(r.Because)})
	}
}

func (d *details) receiver(r *status.Receiver) {
	if r == nil {
		return
	}
	rows := []Row{{"Receiver", status.Clean(r.Device)}}
	if r.Baud > 0 {
		rows = append(rows, Row{"Line", fmt.Sprintf("%d bit/s", r.Baud)})
	}
	var reasons []string
	for why, n := range r.Skipped {
		if n > 0 {
			reasons = append(reasons, status.Clean(why)+" "+strconv.FormatInt(n, 10))
		}
	}
	sort.Strings(reasons)
	text := "none skipped"
	if len(reasons) > 0 {
		text = "skipped: " + strings.Join(reasons, ", ")
	}
	d.Facts = append(append(rows, Row{"Sentences", text}), d.Facts...)
}

// eventsShown is how many of the last events are listed.
const eventsShown = 12

func (d *details) events(events []status.Event) {
	for i := len(events) - 1; i >= 0 && len(d.Events) < eventsShown; i-- {
		at := "time not known"
		if e := events[i]; e.UTC.OK {
			at = e.UTC.V.Time().Format("02 Jan 15:04:05")
		}
		d.Events = append(d.Events, Row{at, status.Clean(events[i].Text)})
	}
}
