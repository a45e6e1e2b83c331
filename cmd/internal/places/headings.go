package places

import (
	"fmt"
	"strings"
	"time"

	"noonmark/cmd/internal/around"
	"noonmark/cmd/internal/wrap"
	"noonmark/grid"
	"noonmark/grid/sun"
)

// headingsReport is what a compass shows for the headings of a path: each of them at its
// own end. null where it is of no use.
type headingsReport struct {
	From           *around.Compass `json:"from"`
	To             *around.Compass `json:"to"`
	HeadingDeg     *float64        `json:"heading_deg"`
	BackHeadingDeg *float64        `json:"back_heading_deg"`
	LongDeg        *float64        `json:"long_heading_deg"`
	LongBackDeg    *float64        `json:"long_back_heading_deg"`
	BoundDeg       float64         `json:"heading_bound_deg"` // of the place and of the declination
	BackBoundDeg   float64         `json:"back_heading_bound_deg"`
}

// headingsOf is nil where no model holds for the day.
func headingsOf(from, to grid.Point, short, long grid.Line, bound grid.Bound, at time.Time) *headingsReport {
	compassAt := func(p grid.Point) *around.Compass {
		lat, lon := p.LatLon()
		return around.CompassAt(lat, lon, at)
	}
	r := &headingsReport{From: compassAt(from), To: compassAt(to)}
	if r.From == nil || r.To == nil {
		return nil
	}
	magnetic := func(c *around.Compass, trueDeg float64) *float64 {
		if deg, ok := c.Heading(trueDeg); ok {
			return &deg
		}
		return nil
	}
	r.HeadingDeg, r.LongDeg = magnetic(r.From, short.HeadingDeg), magnetic(r.From, long.HeadingDeg)
	r.BackHeadingDeg, r.LongBackDeg = magnetic(r.To, short.BackHeadingDeg), magnetic(r.To, long.BackHeadingDeg)
	r.BoundDeg = min(180, bound.HeadingDeg+r.From.BoundDeg)
	r.BackBoundDeg = min(180, bound.BackHeadingDeg+r.To.BoundDeg)
	return r
}

// text is the line for those who turn an aerial by compass.
func (r *headingsReport) text(at time.Time) string {
	const name, indent = "By compass", "            "
	if r == nil {
		return name + wrap.Text(indent, around.NoCompass(at))[len(name):]
	}
	one := func(heading *float64, bound float64, at *around.Compass) string {
		switch {
		case heading == nil:
			return fmt.Sprintf("of no use (%.0f nT along the ground)", at.HorizontalNT)
		case bound >= 180:
			return around.PlusMinus(bound) // a number beside it would be taken for one
		case at.Use == "caution":
			return fmt.Sprintf("%03.0f° %s with caution (the field is weak there)", whole(*heading), around.PlusMinus(bound))
		}
		return fmt.Sprintf("%03.0f° %s", whole(*heading), around.PlusMinus(bound))
	}
	s := "heading " + one(r.HeadingDeg, r.BoundDeg, r.From) + ", back " + one(r.BackHeadingDeg, r.BackBoundDeg, r.To)
	if r.LongDeg != nil && r.LongBackDeg != nil && r.BoundDeg < 180 && r.BackBoundDeg < 180 {
		s += fmt.Sprintf("; long path %03.0f°, back %03.0f°", whole(*r.LongDeg), whole(*r.LongBackDeg))
	}
	return name + wrap.Text(indent, s)[len(name):]
}

// daysReport says where on the short path it is day.
type daysReport struct {
	UTC     time.Time `json:"utc"`
	FromUp  bool      `json:"from_day"`
	ToUp    bool      `json:"to_day"`
	BorderM []float64 `json:"border_m"` // where day and night meet, from the start
}

func daysOf(from grid.Point, short grid.Line, to grid.Point, at time.Time) daysReport {
	up := func(p grid.Point) bool {
		lat, lon := p.LatLon()
		return sun.Up(lat, lon, at)
	}
	r := daysReport{UTC: at.UTC().Truncate(time.Second), FromUp: up(from), ToUp: up(to), BorderM: []float64{}}
	for _, part := range sun.Border(func(part float64) (float64, float64) {
		p, err := grid.Direct(from, short.HeadingDeg, part*short.DistanceM)
		if err != nil {
			p = from // not reached: a geodesic does not leave the Earth
		}
		return p.LatLon()
	}, at) {
		r.BorderM = append(r.BorderM, part*short.DistanceM)
	}
	return r
}

func (r *daysReport) text(miles bool) string {
	const name, indent = "Sun", "            "
	day := map[bool]string{true: "day", false: "night"}
	s := fmt.Sprintf("%s at the start, %s at the end", day[r.FromUp], day[r.ToUp])
	var meet []string
	for _, m := range r.BorderM {
		meet = append(meet, inMiles(metres(m), m, miles))
	}
	if len(meet) > 0 {
		s += "; day and night meet " + strings.Join(meet, " and ") + " from the start"
	}
	return name + wrap.Text(indent, s+fmt.Sprintf(" (at %s UTC)", r.UTC.Format("2006-01-02 15:04")))[len(name):]
}
