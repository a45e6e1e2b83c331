package places

import (
	"fmt"
	"strings"
	"time"

	"noonmark/cmd/internal/exit"
	"noonmark/grid"
	"noonmark/grid/magnetic"
	"noonmark/grid/sun"
)

// What lies around a place, and what the day there is: the borders of its square, the
// squares beside it, a compass, the sun.

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
		for column, name := range names {
			l := around[name]
			if name == "" {
				l = c.Locator()
			}
			fmt.Fprintf(&b, " %-10s", l)
			if column == 2 {
				break
			}
		}
		b.WriteString("\n")
	}
	lines := strings.Split(b.String(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n")
}

// compassReport is what a compass shows at a place.
type compassReport struct {
	DeclinationDeg float64 `json:"declination_deg"` // east of true north
	BoundDeg       float64 `json:"bound_deg"`       // 99 %
	HorizontalNT   float64 `json:"horizontal_nt"`
	Use            string  `json:"use"` // "good", "caution" or "none"
	Model          string  `json:"model"`
}

// normal99 holds 99 % of a normal error, in σ.
const normal99 = 2.57583

// compassAt is nil where no model holds for the day.
func compassAt(p grid.Point, at time.Time) *compassReport {
	lat, lon := p.LatLon()
	f, err := magnetic.At(lat, lon, 0, yearOf(at))
	if err != nil {
		return nil
	}
	use := map[magnetic.Compass]string{magnetic.Good: "good", magnetic.Caution: "caution", magnetic.Blackout: "none"}[f.Compass()]
	return &compassReport{f.DeclinationDeg(), min(180, normal99*f.DeclinationSigmaDeg()), f.HorizontalNT(), use, magnetic.Source}
}

// yearOf is the decimal year of an instant.
func yearOf(at time.Time) float64 {
	at = at.UTC()
	begin := time.Date(at.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	end := time.Date(at.Year()+1, 1, 1, 0, 0, 0, 0, time.UTC)
	return float64(at.Year()) + float64(at.Sub(begin))/float64(end.Sub(begin))
}

// noCompass says why there is none: the day is outside of what the models hold for.
func noCompass(at time.Time) string {
	return fmt.Sprintf("not known on %s: the World Magnetic Model built in holds from %.0f to the end of %.0f", at.UTC().Format("2006-01-02"), magnetic.First, magnetic.Until-1)
}

// text says where a compass points.
func (c *compassReport) text() string {
	side := "east"
	if c.DeclinationDeg < 0 {
		side = "west"
	}
	switch c.Use {
	case "none":
		return fmt.Sprintf("of no use here: the field is too weak along the ground (%.0f nT)", c.HorizontalNT)
	case "caution":
		return fmt.Sprintf("with caution: points %.1f° %s of true north, %s; the field is weak along the ground", abs(c.DeclinationDeg), side, plusMinus(c.BoundDeg))
	}
	return fmt.Sprintf("points %.1f° %s of true north, %s; iron nearby adds to it", abs(c.DeclinationDeg), side, plusMinus(c.BoundDeg))
}

func abs(v float64) float64 {
	if v < 0 {
		return -v
	}
	return v
}

// sunReport is the day at a place: the next 24 hours.
type sunReport struct {
	UTC  time.Time `json:"utc"` // of the question
	Up   bool      `json:"up"`
	Rise *string   `json:"rise_utc"` // null: not within 24 hours
	Set  *string   `json:"set_utc"`
	Dawn *string   `json:"dawn_utc"` // civil twilight
	Dusk *string   `json:"dusk_utc"`
}

func sunAt(p grid.Point, at time.Time) sunReport {
	lat, lon := p.LatLon()
	at = at.UTC().Truncate(time.Second)
	r := sunReport{UTC: at, Up: sun.Up(lat, lon, at)}
	for _, limit := range []struct {
		altitude float64
		up, down **string
	}{{sun.Horizon, &r.Rise, &r.Set}, {sun.Civil, &r.Dawn, &r.Dusk}} {
		found, _ := sun.Next(lat, lon, at, limit.altitude)
		for _, c := range found {
			text := c.At.Round(time.Minute).Format("2006-01-02T15:04Z")
			if to := map[bool]**string{true: limit.up, false: limit.down}[c.Up]; *to == nil {
				*to = &text
			}
		}
	}
	return r
}

// text says it in a line.
func (r *sunReport) text() string {
	clock := func(s *string) string { return (*s)[len("2006-01-02T") : len("2006-01-02T")+5] }
	var parts []string
	add := func(s *string, format string) {
		if s != nil {
			parts = append(parts, fmt.Sprintf(format, clock(s)))
		}
	}
	if r.Up {
		add(r.Set, "sets %s")
		add(r.Dusk, "twilight until %s")
		add(r.Dawn, "twilight from %s")
		add(r.Rise, "rises %s")
	} else {
		add(r.Dawn, "twilight from %s")
		add(r.Rise, "rises %s")
		add(r.Set, "sets %s")
		add(r.Dusk, "twilight until %s")
	}
	s := map[bool]string{true: "up", false: "down"}[r.Up]
	if r.Rise == nil && r.Set == nil {
		s += ", for 24 hours and more"
	}
	if len(parts) > 0 {
		s += "; " + strings.Join(parts, ", ") + " UTC"
	}
	return s + fmt.Sprintf(" (asked at %s, to the minute)", r.UTC.Format("15:04"))
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
