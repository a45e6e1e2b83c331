package grid

import "math"

// Lines by Bessel's auxiliary sphere to the first order of the flattening: on a sphere of
// the reduced latitudes (tan β = (1−f) tan φ) a great circle has the same azimuths, if the
// difference of longitudes ω on it exceeds λ on the ellipsoid by f sin α₀ σ, α₀ the azimuth at
// the equator and σ the arc (F. W. Bessel 1825; C. F. F. Karney 2013, equations 7 and 8).
//
// The integral in equation 8 is between 1 − k²/4 and 1 of σ, k² ≤ 0.00674: its middle is
// taken. Each round brings ω nearer by f (σ / sin σ + 1), so that two leave 4e-7 σ up to 90
// degrees and four 2e-6 up to 174. So an azimuth is right to azimuthSlack σ / sin σ. A
// length is the integral of √(1 + k² sin² σ), taken to the first order; the next is at most k⁴/8 of it, and
// with what ω leaves it is right to lengthSlack of it.
const (
	azimuthSlack    = 5e-6
	lengthSlack     = 7e-6
	auxiliaryMiddle = 1 - 0.00674/8
	secondE2        = wgsE2 / (1 - wgsE2) // second eccentricity squared
)

// corner is a point of an outline on the auxiliary sphere; next and before lead along the
// outline to its neighbours.
type corner struct {
	sinLat, cosLat, sinLon, cosLon float64
	next, before                   way
}

// way is the direction along a side of an outline (north, east) and its length, radians.
type way struct{ n, e, arc float64 }

func cornerAt(latRad, lonRad float64) (c corner) {
	sin, cos := math.Sincos(latRad)
	sin *= 1 - wgsF
	r := 1 / math.Hypot(sin, cos)
	c.sinLat, c.cosLat = sin*r, cos*r
	c.sinLon, c.cosLon = math.Sincos(lonRad)
	return c
}

// arc is a great circle of the auxiliary sphere from one corner to another. The directions
// at its ends have the length sin σ.
type arc struct {
	sigma, sin, cos float64
	n, e            float64 // at the start, toward the end
	backN, backE    float64 // at the end, toward the start
	length          float64 // of the line, over the semi-minor axis
}

func (c *corner) arcTo(d *corner, rounds int) (a arc) {
	sinL, cosL := d.sinLon*c.cosLon-d.cosLon*c.sinLon, d.cosLon*c.cosLon+d.sinLon*c.sinLon
	sin, cos := sinL, cosL
	for round := 0; ; round++ {
		a.n, a.e = c.cosLat*d.sinLat-c.sinLat*d.cosLat*cos, d.cosLat*sin
		a.cos = c.sinLat*d.sinLat + c.cosLat*d.cosLat*cos
		a.sin = math.Sqrt(a.n*a.n + a.e*a.e)
		if a.sin == 0 {
			return a // one place, or opposite ones
		}
		a.sigma = math.Atan2(a.sin, a.cos)
		sin0 := c.cosLat * a.e / a.sin
		if round == rounds {
			a.backN, a.backE = d.cosLat*c.sinLat-d.sinLat*c.cosLat*cos, -c.cosLat*sin
			turn := (-a.backN*d.sinLat*d.cosLat - a.n*c.sinLat*c.cosLat) / a.sin
			a.length = a.sigma + secondE2/4*((1-sin0*sin0)*a.sigma-turn)
			return a
		}
		w := wgsF * auxiliaryMiddle * sin0 * a.sigma // at most 0.011: series
		sinW, cosW := w*(1-w*w*(1.0/6)), 1-w*w*0.5
		sin, cos = sinL*cosW+cosL*sinW, cosL*cosW-sinL*sinW
	}
}

// rate is how fast the heading changes on a way from the corner c, of the arc that leaves it
// with the directions n and e.
func (a *arc) rate(c *corner, n, e float64, w way) float64 {
	return a.cos/(a.sin*a.sin)*(w.n*e-w.e*n) + w.e*c.sinLat/max(c.cosLat, 1e-9)
}

// nearer is how fast the arc becomes shorter on a way from the end with the directions n and e.
func (a *arc) nearer(n, e float64, w way) float64 { return (w.n*n + w.e*e) / a.sin }
