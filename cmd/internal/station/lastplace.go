package station

import (
	"noonmark/clockcheck/timescale"
	"noonmark/grid"
	"noonmark/grid/standing"
	"noonmark/status"
)

// LastPlace is what is kept of the place over a power-off: no finer than it was
// published, for the file that keeps it may be read by others.
type LastPlace struct {
	LatDeg  float64       `json:"lat_deg"`
	LonDeg  float64       `json:"lon_deg"`
	AltM    status.Float  `json:"alt_m"`
	BoundM  float64       `json:"bound_m"` // 99 %, then
	Locator string        `json:"locator"`
	UTC     timescale.UTC `json:"utc_ns,omitempty"` // of its last fix; 0 = the clock was not to be trusted
}

// datedWithinS is the guard with which a clock may date a place, s.
const datedWithinS = 60

// Remember gives the station the place that was kept, nil for none. It is published,
// marked as such, until the first fix.
func (s *Station) Remember(p *LastPlace) { s.place.kept = p }

// LastPlace is what is worth keeping of the place, as of the last Tick; nil for nothing.
func (s *Station) LastPlace() *LastPlace {
	q := s.snap.Position
	if q == nil || q.Kept || !q.LatDeg.OK || !q.LonDeg.OK {
		return s.place.kept
	}
	out := &LastPlace{LatDeg: q.LatDeg.V, LonDeg: q.LonDeg.V, AltM: q.AltM, BoundM: q.BoundM.V, Locator: q.Locator}
	if utc := s.datedUTC(s.snap.Written.SystemUTC.V); utc.OK {
		out.UTC = utc.V.Add(-d(q.AgeS.V))
	}
	return out
}

// datedUTC is UTC when the system clock reads so, as far as places are dated by it.
func (s *Station) datedUTC(system timescale.UTC) status.Time {
	if j := &s.judgement; j.Known && j.Guarded && j.Guard <= datedWithinS {
		return status.At(system.Add(-d(j.Error)))
	}
	return status.Time{}
}

// position is what was kept as published: without a fix, and with an age only where
// the clock could be trusted then and can be now. What is no place is none.
func (k *LastPlace) position(most int, utc status.Time, satellites status.Float) *status.Position {
	if k == nil {
		return nil
	}
	point, err := grid.Degrees(k.LatDeg, k.LonDeg)
	if err != nil || !(k.BoundM >= 0) {
		return nil
	}
	out := &status.Position{Kept: true, Fix: "none", Satellites: satellites, AltM: k.AltM, BoundM: status.Known(k.BoundM)}
	if age := utc.V.Sub(k.UTC).Seconds(); utc.OK && k.UTC != 0 && age >= 0 {
		out.AgeS = status.Known(age)
	}
	cell, err := grid.Parse(k.Locator)
	switch {
	case err != nil && most < 10:
		return nil // how coarse it is cannot be told
	case err == nil:
		if n := min(len(k.Locator), most); n < len(k.Locator) {
			cell = point.Cell(n)
		}
		out.Locator = cell.Locator()
		out.EdgeM = status.Known(standing.Edge(cell, point))
		if most < 10 {
			if len(k.Locator) > most { // kept finer than it may be published now
				point = cell.Center()
				out.BoundM = status.Known(reach(cell) + k.BoundM)
			}
			out.EdgeM, out.AltM = status.Float{}, status.Float{}
		}
	}
	lat, lon := point.LatLon()
	out.LatDeg, out.LonDeg = status.Known(lat), status.Known(lon)
	return out
}
