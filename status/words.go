package status

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	lineWidth = 80 // columns of the narrowest terminal in use
	utcMinute = "2006-01-02 15:04"
	utcSecond = "2006-01-02 15:04:05"
)

// Number writes a number of seconds (or metres, or ppm) with as many decimals as
// matter: three, and six below a thousandth.
func Number(v float64) string {
	switch a := math.Abs(v); {
	case a >= 1e12:
		return fmt.Sprintf("%.3g", v)
	case a >= 100:
		return fmt.Sprintf("%.0f", v)
	case a >= 0.0005 || a < 0.5e-6:
		return fmt.Sprintf("%.3f", math.Abs(v)*sign(v))
	}
	return fmt.Sprintf("%.6f", v)
}

func sign(v float64) float64 {
	if v < -0.5e-6 {
		return -1
	}
	return 1
}

// with writes f with its unit, or that it is not known.
func with(f Float, unit string) string {
	if !f.OK {
		return "not known"
	}
	return Number(f.V) + " " + unit
}

// Span writes a length of time the way a person says it.
func Span(s float64) string {
	const minute, hour, day = 60, 3600, 86400
	switch {
	case !(s >= 0):
		return "0 s"
	case s < 9.95:
		return fmt.Sprintf("%.1f s", s)
	case s < 119.5:
		return fmt.Sprintf("%.0f s", s)
	case s < 2*hour:
		return fmt.Sprintf("%.0f min", math.Floor(s/minute))
	case s < 2*day:
		return pair(s, hour, "h", minute, "min")
	case s < 1e9:
		return pair(s, day, "d", hour, "h")
	}
	return "more than 30 years"
}

// pair writes s, rounded down, in two units.
func pair(s, big float64, bigName string, small float64, smallName string) string {
	n := math.Floor(s / big)
	rest := math.Floor((s - n*big) / small)
	if rest == 0 {
		return fmt.Sprintf("%.0f %s", n, bigName)
	}
	return fmt.Sprintf("%.0f %s %.0f %s", n, bigName, rest, smallName)
}

// longS is from where an error is said in hours and days.
const longS = 7200

// FastSlow words the error of a clock.
func FastSlow(f Float) string {
	switch {
	case !f.OK:
		return "error not known"
	case math.Abs(f.V) < 0.5e-6:
		return "right to the microsecond"
	case f.V <= -longS:
		return Span(-f.V) + " slow"
	case f.V >= longS:
		return Span(f.V) + " fast"
	case f.V < 0:
		return Number(-f.V) + " s slow"
	}
	return Number(f.V) + " s fast"
}

// Clean takes control characters out of what came from outside (a receiver's
// identity, a hostile file), so that it cannot command the terminal.
func Clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case !unicode.IsPrint(r):
			return '?'
		}
		return r
	}, s)
}

// A page collects lines of at most width columns.
type page struct {
	strings.Builder
	width int // 0 = lineWidth
}

// narrowest is the fewest columns that a text is made for; a narrower terminal wraps it.
const narrowest = 30

// line adds text, indented by n; what does not fit goes on below, a little deeper.
func (p *page) line(n int, text string) {
	const deeper = 2
	if p.width == 0 {
		p.width = lineWidth
	}
	room := max(p.width, narrowest) - n
	indent := n
	for first := true; first || text != ""; first = false {
		head, rest := split(text, room)
		p.WriteString(strings.Repeat(" ", indent) + head + "\n")
		text = rest
		if first {
			indent += deeper
			room -= deeper
		}
	}
}

// split cuts text at the last blank within room columns, or hard.
func split(text string, room int) (head, rest string) {
	text = strings.TrimRight(text, " ")
	if utf8.RuneCountInString(text) <= room {
		return text, ""
	}
	cut, blank, columns := 0, 0, 0
	for i, r := range text {
		if columns == room+1 {
			break
		}
		if r == ' ' && strings.TrimSpace(text[:i]) != "" {
			blank = i
		}
		if columns < room {
			cut = i + utf8.RuneLen(r)
		}
		columns++
	}
	if blank > 0 {
		cut = blank
	}
	return text[:cut], strings.TrimLeft(text[cut:], " ")
}

// SteeringText says what is done to the clock, and why.
func (c Clock) SteeringText() string {
	b := "steering: " + orNone(c.Steering)
	if c.SteeringBecause != "" {
		b += ". " + Clean(c.SteeringBecause)
	}
	return b
}
