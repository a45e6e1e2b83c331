package station

import (
	"math"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss"
	"noonmark/grid"
	"noonmark/grid/standing"
	"noonmark/status"
)

// Rules for the error of a fix, 1 σ of each axis. The receiver's own figures (GST)
// come first; else HDOP times a user range error of 3 m (1.5–5 m open sky; from
// memory), halved between the axes; else nothing is said finer than 10 m. A receiver
// that promises less than 0.3 m is not believed (ours: where is its antenna?).
const (
	rangeErrorM = 3.0
	unsaidM     = 10.0
	leastM      = 0.3
)

// place is where the station is, by its fixes or by what was kept.
type place struct {
	max        int // most characters; fewer than 10 coarsen everything
	standing   standing.Place
	square     standing.Square
	asleep     float64 // s; of the tick before the last fix
	alt        status.Float
	satellites status.Float
	fix        gnss.Fix
	fixAt      timescale.Local
	kept       *LastPlace
}

// take keeps what an epoch says; asleep is the Tick's. An epoch named before, as by
// a stuck receiver, is no fix of now.
func (p *place) take(e *gnss.Epoch, asleep float64) {
	if e.Repeated {
		return
	}
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
	f := standing.Fix{At: e.Arrival, Point: pt, SpeedMS: float64(e.SpeedMS)}
	f.SigmaNorthM, f.SigmaEastM = sigmas(e)
	p.standing.Take(f)
	p.asleep = asleep
	p.alt = status.Float{}
	if e.HasAlt {
		p.alt = status.Known(float64(e.AltM))
	}
}

// sigmas are the errors of a fix, 1 σ north and east, m.
func sigmas(e *gnss.Epoch) (north, east float64) {
	switch {
	case e.HasSigma && e.SigmaLatM > 0 && e.SigmaLonM > 0:
		return max(float64(e.SigmaLatM), leastM), max(float64(e.SigmaLonM), leastM)
	case e.HDOP > 0:
		north = max(float64(e.HDOP)*rangeErrorM/math.Sqrt2, leastM)
		return north, north
	}
	return unsaidM, unsaidM
}

// position is the place as published, nil if there never was a fix. utc is known
// where the clock can be trusted to date what was kept.
func (p *place) position(t Tick, utc status.Time) *status.Position {
	est, ok := p.standing.Now()
	if !ok {
		return p.kept.position(p.max, utc, p.satellites)
	}
	age := t.Local.Sub(est.At).Seconds() + t.AsleepS - p.asleep // the local timescale stands still in suspend
	out := &status.Position{Fix: p.fix.String(), Satellites: p.satellites, AgeS: status.Known(age), Moving: est.Moving, AltM: p.alt,
		BoundM:    status.Known(standing.Radius99(est.SigmaNorthM, est.SigmaEastM)),
		AveragedS: status.Known(est.At.Sub(est.Since).Seconds())}
	if t.Local.Sub(p.fixAt).Seconds() > 10 || t.AsleepS-p.asleep > 10 {
		out.Fix = "none"
	}
	point := est.Point
	if cell := p.square.Choose(est, t.Local, p.max); cell != (grid.Cell{}) {
		out.Locator = cell.Locator()
		out.EdgeM = status.Known(standing.Edge(cell, point))
		if p.max < 10 {
			// The operator asked for a coarse place: every coordinate is.
			point = cell.Center()
			out.BoundM = status.Known(reach(cell) + standing.Slack(est) + out.BoundM.V)
			out.EdgeM, out.AltM = status.Float{}, status.Float{}
		}
	}
	lat, lon := point.LatLon()
	out.LatDeg, out.LonDeg = status.Known(lat), status.Known(lon)
	return out
}

// reach is how far a cell reaches from its centre, m.
func reach(c grid.Cell) float64 {
	h, w := c.Size()
	return math.Hypot(h, w) / 2
}
