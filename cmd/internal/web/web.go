// Package web serves the operator's page: it fills the page with what a station says,
// listens for browsers, shares its places among them, and does by hand what they ask.
// The service and the demo use it alike.
package web

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/around"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/station"
	"noonmark/gnss"
	"noonmark/grid"
	"noonmark/status"
	"noonmark/status/page"
)

// NewPage is the page of a station whose time runs speed times as fast as ours; hand
// is nil where nothing can be done by hand.
func NewPage(speed float64, hand page.Hand) *page.Page {
	periods := make(map[string]page.Period)
	for _, m := range clockcheck.Modes() {
		periods[m.Name] = page.Period{OffsetS: m.Offset.Seconds(), LengthS: m.Length.Seconds()}
	}
	return page.New(page.Config{Now: hostclock.Now, Boot: hostclock.BootNow, Speed: speed, Periods: periods, Place: placeRows, Square: squareOf, Hand: hand})
}

// Show hands what a station says to the page; at is the instant of its last
// tick on this machine's own timescale.
func Show(p *page.Page, s *station.Station, snap *status.Snapshot, at timescale.Local, facts []page.Row) {
	u := page.Update{Snapshot: snap, At: at, Facts: facts}
	if p.Due(at) {
		u.Ahead = ahead(s)
		u.Satellites = satellites(s.Satellites(nil))
	}
	p.Put(u)
}

// aheadS are the instants of the forecast, s: close together while it is young.
var aheadS = []float64{0, 60, 300, 900, 1800, 3600, 2 * 3600, 4 * 3600, 8 * 3600, 16 * 3600, 86400, 2 * 86400, 4 * 86400, 8 * 86400, 15 * 86400, 30 * 86400}

func ahead(s *station.Station) []page.Ahead {
	var out []page.Ahead
	for _, t := range aheadS {
		err, guard, ok := s.Ahead(t)
		if !ok {
			return nil
		}
		out = append(out, page.Ahead{AfterS: t, ErrorS: err, GuardS: guard})
	}
	return out
}

// satellites takes each satellite once, by its strongest signal.
func satellites(all []gnss.Satellite) []page.Satellite {
	var out []page.Satellite
	at := make(map[string]int)
	for _, s := range all {
		p := page.Satellite{Name: s.System() + " " + strconv.Itoa(int(s.ID)), ElevationDeg: float64(s.Elevation), AzimuthDeg: float64(s.Azimuth), CN0DBHz: float64(s.CN0)}
		i, seen := at[p.Name]
		switch {
		case !seen:
			at[p.Name] = len(out)
			out = append(out, p)
		case p.CN0DBHz > out[i].CN0DBHz:
			out[i] = p
		}
	}
	return out
}

// placeRows gives every form of a place, what a compass and the sun do there at the judged
// time, and the table of locators around it.
func placeRows(q status.Position, at timescale.UTC) (forms, day []page.Row, table page.Distances) {
	pt, err := grid.Degrees(q.LatDeg.V, q.LonDeg.V)
	if err != nil {
		return nil, nil, page.Distances{}
	}
	var compass *around.Compass
	if at != 0 {
		compass = around.CompassAt(q.LatDeg.V, q.LonDeg.V, at.Time())
		day = dayRows(q, compass, at.Time())
	}
	return formsOf(q, pt), day, distances(pt, compass)
}

// dayRows are what a compass and the sun do at a place.
func dayRows(q status.Position, compass *around.Compass, at time.Time) []page.Row {
	text := around.NoCompass(at)
	if compass != nil {
		text = compass.Text()
	}
	if deg, ok := compass.Heading(0); ok {
		text += fmt.Sprintf("; it shows %03.0f° for true 000°", math.Mod(math.Round(deg), 360))
	}
	sun := around.SunAt(q.LatDeg.V, q.LonDeg.V, at)
	return []page.Row{{Name: "Compass", Value: text}, {Name: "Sun", Value: sun.Line()}}
}

// formsOf gives every form of a place.
func formsOf(q status.Position, pt grid.Point) []page.Row {
	uncertainty := -1.0
	if q.BoundM.OK {
		uncertainty = q.BoundM.V
	}
	if !q.EdgeM.OK { // coarsened: it must not look exact
		return []page.Row{{Name: "Degrees", Value: fmt.Sprintf("about %.1f, %.1f", q.LatDeg.V, q.LonDeg.V)}}
	}
	rows := []page.Row{{Name: "Degrees", Value: pt.Decimal()}, {Name: "Minutes", Value: pt.DM()}, {Name: "Seconds", Value: pt.DMS()}}
	if text, ok := pt.UTM(); ok {
		rows = append(rows, page.Row{Name: "UTM", Value: text})
	}
	if text, ok := pt.MGRS(); ok {
		rows = append(rows, page.Row{Name: "MGRS", Value: text})
	}
	return append(rows, page.Row{Name: "Geo", Value: pt.Geo(uncertainty)})
}

// squareOf is the six-character square around a place that is not coarsened: 5' of
// longitude by 2.5' of latitude.
func squareOf(q status.Position) page.Square {
	pt, err := grid.Degrees(q.LatDeg.V, q.LonDeg.V)
	if err != nil || !q.EdgeM.OK {
		return page.Square{}
	}
	_, east := math.Modf((q.LonDeg.V + 180) * 12)
	_, north := math.Modf((q.LatDeg.V + 90) * 24)
	height, width := pt.Cell(6).Size()
	return page.Square{East: east, North: north, WidthM: width, HeightM: height}
}

var (
	ringsKM  = []float64{100, 250, 500, 1000, 2000, 4000, 8000}
	winds    = []string{"N", "NE", "E", "SE", "S", "SW", "W", "NW"}
	fieldLen = 4 // characters: a cell of 1° by 2°, about what a beam covers
)

// distances has the headings by compass too, where it tells them.
func distances(from grid.Point, compass *around.Compass) page.Distances {
	var d page.Distances
	for _, km := range ringsKM {
		d.Km = append(d.Km, fmt.Sprintf("%.0f km", km))
	}
	for i, name := range winds {
		deg := float64(i) * 360 / float64(len(winds))
		row := page.DistanceRow{Heading: fmt.Sprintf("%s %03.0f°", name, math.Round(deg))}
		if by, ok := compass.Heading(deg); ok {
			row.Heading += fmt.Sprintf(", by compass %03.0f°", math.Mod(math.Round(by), 360))
		}
		for _, km := range ringsKM {
			to := "–"
			if pt, err := grid.Direct(from, deg, km*1000); err == nil {
				to = pt.Cell(fieldLen).Locator()
			}
			row.Locator = append(row.Locator, to)
		}
		d.Rows = append(d.Rows, row)
	}
	return d
}
