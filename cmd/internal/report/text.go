package report

import (
	"fmt"
	"math"
	"strings"

	"noonmark/grid"
	"noonmark/status"
	"noonmark/status/spoken"
)

// mostDecimals of a degree: 1.1 m.
const mostDecimals = 5

// Text is the full text, a line each for the time, the place and the way.
func (r *Report) Text() string {
	var lines []string
	if r.Exercise {
		lines = append(lines, "EXERCISE: this is a simulated station.")
	}
	when := r.UTC.V.Time().Format("2006-01-02 15:04") + " UTC"
	if !r.TimeProved {
		when += " (time not confirmed)"
	}
	place := r.degrees(mostDecimals, " ")
	locator := ""
	if r.Locator != "" {
		locator = "Locator " + r.Locator + "."
	}
	if r.Distress {
		if pt, err := grid.Degrees(r.LatDeg, r.LonDeg); err == nil && r.decimals(mostDecimals) >= 4 {
			place += " = " + pt.DM()
		}
		lines = append(lines, place, r.quality()+". "+when+".", locator)
	} else {
		lines = append(lines, "I am here and well. "+when+".", locator, place+", "+r.quality()+".")
	}
	if r.Distress && r.AltM.OK {
		lines = append(lines, fmt.Sprintf("%.0f m above the sea.", r.AltM.V))
	}
	if r.To != nil {
		lines = append(lines, r.To.text()+"."+r.To.byCompass())
	}
	if r.Distress {
		lines = append(lines, r.Aloud())
	}
	var b strings.Builder
	for _, l := range lines {
		if l != "" {
			b.WriteString(l + "\n")
		}
	}
	return b.String()
}

// quality says how good the place is.
func (r *Report) quality() string {
	b := "accuracy not known"
	if r.BoundM.OK {
		b = "within " + upTo(r.within(mostDecimals))
		if r.Poor {
			b = "POOR: only " + b
		}
	}
	switch {
	case r.Kept && r.AgeS.OK:
		b += ", OLD: from before the last start, " + status.Span(r.AgeS.V) + " ago"
	case r.Kept:
		b += ", OLD: from before the last start, age not known"
	case !r.AgeS.OK:
		b += ", OLD: age not known"
	case r.Old:
		b += ", OLD: " + status.Span(r.AgeS.V) + " ago"
	case r.AgeS.V < 15:
		b += ", fix of now"
	default:
		b += ", " + status.Span(r.AgeS.V) + " ago"
	}
	if r.Moving {
		b += ", moving"
	}
	return b
}

func (t *To) text() string {
	b := metres(t.DistanceM)
	if t.DistanceBoundM >= max(1000, t.DistanceM/20) {
		b += ", give or take " + upTo(t.DistanceBoundM)
	}
	if t.HeadingBoundDeg >= 90 {
		return b + " to " + t.Name
	}
	return fmt.Sprintf("%s, %03.0f degrees true%s, to %s", b, math.Mod(math.Round(t.HeadingDeg), 360), t.giveOrTake(), t.Name)
}

// byCompass is the heading by compass, or why there is none; "" without a heading.
func (t *To) byCompass() string {
	switch {
	case t.HeadingBoundDeg >= 90:
		return ""
	case !t.CompassDeg.OK:
		return " By compass " + t.NoCompass + "."
	}
	return fmt.Sprintf(" By compass %03.0f, give or take %.0f.", math.Mod(math.Round(t.CompassDeg.V), 360), math.Ceil(t.CompassBoundDeg.V+0.5))
}

// giveOrTake is the ± of the heading as written, "" where it is a degree at most.
func (t *To) giveOrTake() string {
	const rounding = 0.5 // of a heading to the degree
	if t.HeadingBoundDeg+rounding <= 1 {
		return ""
	}
	return fmt.Sprintf(" give or take %.0f", math.Ceil(t.HeadingBoundDeg+rounding))
}

// Aloud is how to read the locator and the coordinates aloud, a line each.
func (r *Report) Aloud() string {
	var lines []string
	if place, ok := spoken.Coordinates(r.degrees(mostDecimals, " ")); ok {
		lines = append(lines, "Read aloud: "+place+".")
	}
	if r.Locator != "" {
		lines = append(lines, "Locator aloud: "+spoken.Locator(r.Locator)+".")
	}
	return strings.Join(lines, "\n")
}

// leastDecimals of a degree: 20.13 can be heard and read as 20 degrees 13 minutes, which
// is up to 70 km elsewhere; 20.130 cannot.
const leastDecimals = 3

// decimals is how many decimals of a degree the place supports, at most so many: the
// fewest whose rounding adds no more than half of the bound; where that is not known, as
// many as go with the locator.
func (r *Report) decimals(most int) int {
	n := leastDecimals
	if !r.BoundM.OK {
		return min(most, max(n, len(r.Locator)/2))
	}
	for ; n < most && rounding(n) > r.BoundM.V/2; n++ {
	}
	return n
}

// rounding is how far a place may move by being rounded to n decimals of a degree, m.
func rounding(n int) float64 { return 111_694 / math.Sqrt2 * math.Pow10(-n) }

// within is the bound of what the rounded numbers say, m.
func (r *Report) within(decimals int) float64 { return r.BoundM.V + rounding(r.decimals(decimals)) }

// degrees writes the place in decimal degrees with letters.
func (r *Report) degrees(most int, blank string) string {
	n := r.decimals(most)
	write := func(v float64, width int, positive, negative string) string {
		s := fmt.Sprintf("%.*f", n, math.Abs(v))
		if v < 0 && strings.Trim(s, "0.") != "" {
			positive = negative
		}
		return s + blank + positive
	}
	return write(r.LatDeg, 2, "N", "S") + " " + write(r.LonDeg, 3, "E", "W")
}

// upTo writes a bound, rounded up.
func upTo(m float64) string {
	step := 1.0
	switch {
	case m > 99_900:
		step = 1000
	case m > 999:
		step = 100
	}
	return metres(math.Ceil(m/step) * step)
}

// metres writes a length.
func metres(m float64) string {
	switch {
	case m < 999.5:
		return fmt.Sprintf("%.0f m", m)
	case m < 99_950:
		return fmt.Sprintf("%.1f km", m/1000)
	}
	return fmt.Sprintf("%.0f km", m/1000)
}
