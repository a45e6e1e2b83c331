// Package around tells what those who turn an aerial ask of a place and a day: where a
// compass points there, and when the sun rises and sets. Degrees and instants in, values and
// their words out. It is pure; safe from any goroutine.
package around

import (
	"fmt"
	"math"
	"strings"
	"time"

	"noonmark/grid/magnetic"
	"noonmark/grid/sun"
)

// Compass is what a compass shows at a place.
type Compass struct {
	DeclinationDeg float64 `json:"declination_deg"` // east of true north
	BoundDeg       float64 `json:"bound_deg"`       // 99 %
	HorizontalNT   float64 `json:"horizontal_nt"`
	Use            string  `json:"use"` // "good", "caution" or "none"
	Model          string  `json:"model"`
}

// normal99 holds 99 % of a normal error, in σ.
const normal99 = 2.57583

// CompassAt is nil where no model holds for the day.
func CompassAt(latDeg, lonDeg float64, at time.Time) *Compass {
	f, err := magnetic.At(latDeg, lonDeg, 0, yearOf(at))
	if err != nil {
		return nil
	}
	use := map[magnetic.Compass]string{magnetic.Good: "good", magnetic.Caution: "caution", magnetic.Blackout: "none"}[f.Compass()]
	return &Compass{f.DeclinationDeg(), min(180, normal99*f.DeclinationSigmaDeg()), f.HorizontalNT(), use, magnetic.Source}
}

// yearOf is the decimal year of an instant.
func yearOf(at time.Time) float64 {
	at = at.UTC()
	begin := time.Date(at.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	end := time.Date(at.Year()+1, 1, 1, 0, 0, 0, 0, time.UTC)
	return float64(at.Year()) + float64(at.Sub(begin))/float64(end.Sub(begin))
}

// NoCompass says why there is none: the day is outside of what the models hold for.
func NoCompass(at time.Time) string {
	return fmt.Sprintf("not known on %s: the World Magnetic Model built in holds from %.0f to the end of %.0f", at.UTC().Format("2006-01-02"), magnetic.First, magnetic.Until-1)
}

// Text says where a compass points.
func (c *Compass) Text() string {
	side := "east"
	if c.DeclinationDeg < 0 {
		side = "west"
	}
	switch c.Use {
	case "none":
		return fmt.Sprintf("of no use here: the field is too weak along the ground (%.0f nT)", c.HorizontalNT)
	case "caution":
		return fmt.Sprintf("with caution: points %.1f° %s of true north, %s; the field is weak along the ground", math.Abs(c.DeclinationDeg), side, PlusMinus(c.BoundDeg))
	}
	return fmt.Sprintf("points %.1f° %s of true north, %s; iron nearby adds to it", math.Abs(c.DeclinationDeg), side, PlusMinus(c.BoundDeg))
}

// Sun is the day at a place: the next 24 hours.
type Sun struct {
	UTC  time.Time `json:"utc"` // of the question
	Up   bool      `json:"up"`
	Rise *string   `json:"rise_utc"` // null: not within 24 hours
	Set  *string   `json:"set_utc"`
	Dawn *string   `json:"dawn_utc"` // civil twilight
	Dusk *string   `json:"dusk_utc"`
}

// SunAt is the day at a place (degrees).
func SunAt(latDeg, lonDeg float64, at time.Time) Sun {
	at = at.UTC().Truncate(time.Second)
	r := Sun{UTC: at, Up: sun.Up(latDeg, lonDeg, at)}
	for _, limit := range []struct {
		altitude float64
		up, down **string
	}{{sun.Horizon, &r.Rise, &r.Set}, {sun.Civil, &r.Dawn, &r.Dusk}} {
		found, _ := sun.Next(latDeg, lonDeg, at, limit.altitude)
		for _, c := range found {
			text := c.At.Round(time.Minute).Format("2006-01-02T15:04Z")
			if to := map[bool]**string{true: limit.up, false: limit.down}[c.Up]; *to == nil {
				*to = &text
			}
		}
	}
	return r
}

// Text says it in a line, with the time of the question.
func (r *Sun) Text() string {
	return r.Line() + fmt.Sprintf(" (asked at %s, to the minute)", r.UTC.Format("15:04"))
}

// Line is Text without the time of the question.
func (r *Sun) Line() string {
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
	return s
}

// Heading is the heading by compass for a true one, degrees; not ok where a compass tells nothing.
func (c *Compass) Heading(trueDeg float64) (deg float64, ok bool) {
	if c == nil || c.Use == "none" {
		return 0, false
	}
	return math.Mod(trueDeg-c.DeclinationDeg+360, 360), true
}

// PlusMinus writes the ± of a heading, rounded up.
func PlusMinus(deg float64) string {
	switch {
	case deg >= 180:
		return "any direction"
	case deg < 9.9:
		return fmt.Sprintf("± %.1f°", math.Ceil(deg*10)/10)
	}
	return fmt.Sprintf("± %.0f°", math.Ceil(deg))
}
