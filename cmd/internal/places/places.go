// Package places holds the commands about places: grid, path and report.
package places

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/reader"
	"noonmark/grid"
	"noonmark/status"
)

// Somewhere is a place and what is known of its accuracy.
type Somewhere struct {
	Point        grid.Point
	form         string // as grid.Place has it; "" for the present place
	length       int
	uncertaintyM float64 // −1 = not known
	reachM       float64 // how far the place may be from point
	end          grid.End
	note         string
	now          *status.Position // of the present place; nil for one that was named
	simulated    bool             // … of a demo's station, not of this one
}

// notHere stands before every answer that rests on a simulated place.
const notHere = "SIMULATION: this is the demo's station, not this one.\n"

// mark is notHere if one of the places is simulated.
func mark(places ...Somewhere) string {
	for _, p := range places {
		if p.simulated {
			return notHere
		}
	}
	return ""
}

// cell is the area that the place's locator names. The published locator stays for a
// while beside a border, and this must be the same.
func (p *Somewhere) cell() grid.Cell {
	if p.now != nil && len(p.now.Locator) >= p.length {
		if c, err := grid.Parse(p.now.Locator[:p.length]); err == nil {
			return c
		}
	}
	return p.Point.Cell(p.length)
}

// fix says how old and how good the present place is.
func (p *Somewhere) fix() string {
	text := p.now.Past()
	if text == "" {
		text = status.Span(p.now.AgeS.V) + " ago"
	}
	if p.now.BoundM.OK {
		text += fmt.Sprintf(", ± %.0f m (99 %%)", math.Ceil(p.now.BoundM.V))
	}
	if p.now.Moving {
		text += ", moving"
	}
	return text
}

// Here is the present place from the published status.
func Here(runDir string) (Somewhere, error) {
	s, now, err := reader.Published(runDir)
	if err != nil {
		return Somewhere{}, exit.With(exit.Cannot, err)
	}
	if f := status.Fresh(s, now); !f.OK {
		return Somewhere{}, exit.With(exit.Cannot, errors.New(f.Because))
	}
	if s.Position == nil || !s.Position.LatDeg.OK || !s.Position.LonDeg.OK {
		return Somewhere{}, exit.With(exit.Cannot, errors.New("there is no position fix yet: give the receiver an open sky, or name a place"))
	}
	pt, err := grid.Degrees(s.Position.LatDeg.V, s.Position.LonDeg.V)
	if err != nil {
		return Somewhere{}, exit.With(exit.Cannot, err)
	}
	p := Somewhere{Point: pt, length: max(len(s.Position.Locator), 2), uncertaintyM: -1, simulated: !s.Live}
	p.now = s.Position
	p.reachM = p.cell().Reach()
	if s.Position.BoundM.OK {
		p.uncertaintyM, p.reachM = s.Position.BoundM.V, s.Position.BoundM.V
	}
	p.end = grid.EndOf(p.Point, p.reachM)
	return p, nil
}

// ReadPlace reads what was typed; a fault is shown under the text.
func ReadPlace(text string) (Somewhere, error) {
	pl, err := grid.ParsePlace(text)
	if err != nil {
		return Somewhere{}, exit.Usage(pointAt(text, err))
	}
	p := Somewhere{Point: pl.Point, form: pl.Form, length: pl.Length, uncertaintyM: pl.UncertaintyM, reachM: pl.ReachM, end: pl.End(), note: pl.Note}
	if p.reachM > 0 { // an area is passed on as one, not as its centre alone
		p.uncertaintyM = p.reachM
	}
	return p, nil
}

// pointAt shows under the text where its fault is.
func pointAt(text string, err error) error {
	var se *grid.SyntaxError
	if !errors.As(err, &se) || se.Offset > len(text) {
		return err
	}
	return fmt.Errorf("%w\n  %s\n  %s^", err, text, strings.Repeat(" ", len([]rune(text[:se.Offset]))))
}

// cutPlaces finds the one or two places that the words of a command line are. A
// shell has cut them at blanks, and places may have blanks: each cut is tried, and
// words that can be understood in two ways are refused.
//
// So are whole numbers with commas that may be the halves of one place with decimal
// commas: -20,13 -67,49.
func cutPlaces(words []string) (first, second string, err error) {
	text := strings.Join(words, " ")
	// Blanks within a word show that it was quoted.
	if pointed := decimalComma.ReplaceAllString(text, "$1.$2"); pointed != text && len(strings.Fields(text)) == len(words) &&
		(len(cuts(strings.Fields(pointed))) > 0 || slices.ContainsFunc(words, bareNumber.MatchString)) {
		return "", "", exit.Usage(fmt.Errorf("path: the commas of %q may be decimal points. Write decimals with a point (%s), or a blank after each comma and quotes around each place", text, pointed))
	}
	found := cuts(words)
	switch {
	case len(found) == 1:
		return found[0][0], found[0][1], nil
	case len(found) > 1:
		return "", "", exit.Usage(fmt.Errorf("path: %q can be one place or two, or be cut in two ways; put quotes around each place", text))
	case len(words) > 2:
		_, err = grid.ParsePlace(text)
		return "", "", exit.Usage(fmt.Errorf("path: neither one place nor two; put quotes around each. As one place: %w", pointAt(text, err)))
	}
	for _, w := range words {
		if _, err := ReadPlace(w); err != nil {
			return "", "", err
		}
	}
	return "", "", nil // not reached: words that are places have a cut
}

// decimalComma is a comma close between a whole number and digits.
var (
	decimalComma = regexp.MustCompile(`((?:^|[^.0-9])[0-9]+),([0-9])`)
	bareNumber   = regexp.MustCompile(`^[-+]?[0-9]+(\.[0-9]+)?$`)
)

// cuts are the ways to cut the words into one place or two.
func cuts(words []string) (found [][2]string) {
	isPlace := func(words []string) bool {
		_, err := grid.ParsePlace(strings.Join(words, " "))
		return err == nil
	}
	for i := 1; i <= len(words); i++ {
		if isPlace(words[:i]) && (i == len(words) || isPlace(words[i:])) {
			found = append(found, [2]string{strings.Join(words[:i], " "), strings.Join(words[i:], " ")})
		}
	}
	return found
}

// whole rounds a heading to a degree below 360.
func whole(deg float64) float64 { return math.Mod(math.Round(deg), 360) }

func metres(m float64) string {
	switch {
	case m < 1000:
		return fmt.Sprintf("%.1f m", m)
	case m < 100_000:
		return fmt.Sprintf("%.2f km", m/1000)
	}
	return fmt.Sprintf("%.0f km", m/1000)
}

// metresUp writes a bound as metres does, rounded up.
func metresUp(m float64) string {
	switch {
	case m <= 999.9:
		return metres(math.Ceil(m*10) / 10)
	case m <= 99_990:
		return metres(math.Ceil(m/10) * 10)
	}
	return metres(math.Ceil(m/1000) * 1000)
}
