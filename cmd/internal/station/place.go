package station

import (
	"math"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss"
	"noonmark/grid"
	"noonmark/status"
)

// Rules for the accuracy of a single fix, 99 % horizontal radius. The receiver's
// own figures (GST, 1σ) come first; else HDOP times a user range error of 3 m
// (1.5–5 m open sky; from memory); else nothing is said finer than 30 m. A
// circular normal error has 95 % within 2.448 σ and 99 % within 3.035 σ (computed
// from the Rayleigh distribution).
const (
	rangeErrorM = 3.0
	to95        = 2.448
	to99        = 3.035
	unsaidM     = 10.0 // σ, when neither GST nor HDOP is sent
	movingMS    = 1.0  // m/s over ground: faster than a standing fix wanders
)

// place is the last known position.
type place struct {
	max        int
	known      bool
	point      grid.Point
	at         timescale.Local
	sigmaM     float64 // per axis
	alt        status.Float
	satellites status.Float
	fix        gnss.Fix
	fixAt      timescale.Local
	moving     bool
}

// take keeps a valid epoch's position.
func (p *place) take(e *gnss.Epoch) {
	p.fix, p.fixAt = e.Fix, e.Arrival
	if e.Satellites >= 0 {
		p.satellites = status.Known(float64(e.Satellites))
	}
	if !e.Valid {
		p.fix = gnss.FixNone
		return
	}
	if !e.HasPosition || e.Backlog {
		return
	}
	pt, err := grid.Minutes(int64(e.Lat), int64(e.Lon))
	if err != nil {
		return
	}
	p.known, p.point, p.at = true, pt, e.Arrival
	p.moving = e.SpeedMS > movingMS
	p.alt = status.Float{}
	if e.HasAlt {
		p.alt = status.Known(float64(e.AltM))
	}
	switch {
	case e.HasSigma:
		p.sigmaM = math.Sqrt((sq(float64(e.SigmaLatM)) + sq(float64(e.SigmaLonM))) / 2)
	case e.HDOP > 0:
		p.sigmaM = float64(e.HDOP) * rangeErrorM / math.Sqrt2
	default:
		p.sigmaM = unsaidM
	}
}

func sq(v float64) float64 { return v * v }

// snapshot is the place as published, nil if there never was a fix.
func (p *place) snapshot(now timescale.Local) *status.Position {
	if !p.known {
		return nil
	}
	lat, _ := p.point.LatLon()
	n := min(grid.LocatorLength(to95*p.sigmaM, lat), p.max)
	out := &status.Position{Fix: p.fix.String(), Satellites: p.satellites, AgeS: status.Known(now.Sub(p.at).Seconds()),
		BoundM: status.Known(to99 * p.sigmaM), Moving: p.moving, AltM: p.alt}
	if now.Sub(p.fixAt).Seconds() > 10 {
		out.Fix = "none"
	}
	point := p.point
	if n >= 2 {
		cell := p.point.Cell(n)
		out.Locator = cell.Locator()
		out.EdgeM = status.Known(edge(cell, point))
		if p.max < 10 {
			// The operator asked for a coarse place: every coordinate is.
			point = cell.Center()
			h, w := cell.Size()
			out.BoundM = status.Known(math.Hypot(h, w)/2 + to99*p.sigmaM)
			out.EdgeM, out.AltM = status.Float{}, status.Float{}
		}
	}
	lat, lon := point.LatLon()
	out.LatDeg, out.LonDeg = status.Known(lat), status.Known(lon)
	return out
}

// edge is the distance to the nearest edge of the cell, in metres: along the
// meridian and the parallel, which is exact enough inside 20° × 10°.
func edge(c grid.Cell, p grid.Point) float64 {
	lat, lon := p.LatLon()
	h, w := c.Size()
	perLat, perLon := h/(c.North-c.South), w/(c.East-c.West)
	return max(0, min((lat-c.South)*perLat, (c.North-lat)*perLat, (lon-c.West)*perLon, (c.East-lon)*perLon))
}
