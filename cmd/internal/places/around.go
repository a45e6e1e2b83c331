package places

import (
	"fmt"
	"strings"
	"time"

	"noonmark/cmd/internal/exit"
	"noonmark/grid"
)

// What lies around a place: the borders of its square and the squares beside it.

// borderReport is the way to the nearest border of the square.
type borderReport struct {
	DistanceM  float64 `json:"distance_m"`
	HeadingDeg float64 `json:"heading_deg"`
	Side       string  `json:"side"`
	Beyond     string  `json:"beyond"` // the locator of the square there
}

// borderOf is nil where the place lies outside of the square that is named for it.
func borderOf(p *Somewhere) *borderReport {
	c := p.cell()
	if !c.Contains(p.Point) {
		return nil
	}
	b := c.Border(p.Point)
	return &borderReport{b.DistanceM, b.HeadingDeg, b.Side, b.Beyond.Locator()}
}

// Directions of the eight squares around, as they lie on a map.
var directions = [3][3]string{{"north-west", "north", "north-east"}, {"west", "", "east"}, {"south-west", "south", "south-east"}}

// neighboursOf gives the locators around by their direction; beyond a pole there are none.
func neighboursOf(c grid.Cell) map[string]string {
	around := make(map[string]string, 8)
	for row, names := range directions {
		for column, name := range names {
			if n, ok := c.Neighbour(1-row, column-1); ok && name != "" {
				around[name] = n.Locator()
			}
		}
	}
	return around
}

// neighbourMap draws the squares around c.
func neighbourMap(c grid.Cell) string {
	around := neighboursOf(c)
	var b strings.Builder
	for row, names := range directions {
		b.WriteString(map[bool]string{true: "Around  ", false: "        "}[row == 0])
		for _, name := range names {
			l := around[name]
			if name == "" {
				l = c.Locator()
			}
			fmt.Fprintf(&b, " %-10s", l)
		}
		b.WriteString("\n")
	}
	lines := strings.Split(b.String(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n")
}

// instant reads the time that was asked about, "" for the present by this computer's clock.
func instant(text string, now time.Time) (time.Time, error) {
	if text == "" {
		return now.UTC(), nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04Z", "2006-01-02 15:04", "2006-01-02"} {
		if at, err := time.Parse(layout, text); err == nil {
			return at.UTC(), nil
		}
	}
	return time.Time{}, exit.Usage(fmt.Errorf("--at %q: write a time in UTC, such as 2031-02-03T04:05Z", text))
}

// inMiles adds miles (1609.344 m) and nautical miles (1852 m) to a length, if asked for.
func inMiles(text string, m float64, miles bool) string {
	if !miles {
		return text
	}
	return fmt.Sprintf("%s (%.1f miles, %.1f nautical miles)", text, m/1609.344, m/1852)
}
