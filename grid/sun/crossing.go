package sun

import (
	"math"
	"time"
)

// step is how far apart the sun's altitude is looked at; between, its highest and lowest
// are looked for too, so that a short day or night is not stepped over.
const step = 10 * time.Minute

// Crossing is an instant at which the sun passes an altitude; the zero one is none.
type Crossing struct {
	At time.Time
	Up bool // rising
}

// Next gives the crossings of an altitude in the 24 hours that begin at t, to the second:
// mostly one up and one down; none in polar day and polar night, where above tells which.
func Next(latDeg, lonDeg float64, t time.Time, altitude float64) (found []Crossing, above bool) {
	f := func(s float64) float64 {
		return Altitude(latDeg, lonDeg, t.Add(time.Duration(s*1e9))) - altitude
	}
	end := (24 * time.Hour).Seconds()
	for _, s := range zeros(f, 0, end, step.Seconds()) {
		at := t.Add(time.Duration(s * 1e9))
		found = append(found, Crossing{at, f(s+1) > f(s-1)})
	}
	return found, f(0) >= 0
}

// Border gives the parts of a way (0 to 1) at which day and night meet: place tells the
// latitude and longitude of a part, degrees.
func Border(place func(part float64) (latDeg, lonDeg float64), t time.Time) []float64 {
	return zeros(func(part float64) float64 {
		lat, lon := place(part)
		return Altitude(lat, lon, t) - Horizon
	}, 0, 1, 1.0/64)
}

// zeros finds where f is 0 between from and to: signs of neighbours step apart, and of the
// highest and lowest between.
func zeros(f func(float64) float64, from, to, step float64) (at []float64) {
	x0, x1 := from, min(from+step, to)
	y0, y1 := f(x0), f(x1)
	cross := func(a, ya, b, yb float64) {
		if (ya < 0) != (yb < 0) {
			at = append(at, bisect(f, a, b, ya < 0))
		}
	}
	for x1 < to {
		x2 := min(x1+step, to)
		y2 := f(x2)
		// A high or a low among three of one sign may reach across.
		if peak := (y1-y0)*(y2-y1) <= 0; peak && (y0 < 0) == (y1 < 0) && (y1 < 0) == (y2 < 0) {
			sign := 1.0
			if y1 > 0 {
				sign = -1
			}
			top := highest(func(x float64) float64 { return sign * f(x) }, x0, x2)
			if y := f(top); (y < 0) != (y1 < 0) {
				at = append(at, bisect(f, x0, top, y0 < 0), bisect(f, top, x2, y < 0))
				if x1 = x2; x1 >= to {
					return at
				}
				x0, y0 = x2, y2
				x1 = min(x2+step, to)
				y1 = f(x1)
				continue
			}
		}
		cross(x0, y0, x1, y1)
		x0, y0, x1, y1 = x1, y1, x2, y2
	}
	cross(x0, y0, x1, y1)
	return at
}

// bisect finds the zero between a and b; below tells the sign at a.
func bisect(f func(float64) float64, a, b float64, below bool) float64 {
	for range 50 {
		middle := (a + b) / 2
		if (f(middle) < 0) == below {
			a = middle
		} else {
			b = middle
		}
	}
	return (a + b) / 2
}

// highest finds the top of f between a and b by the golden section.
func highest(f func(float64) float64, a, b float64) float64 {
	g := (math.Sqrt(5) - 1) / 2
	for range 40 {
		if c, d := b-g*(b-a), a+g*(b-a); f(c) > f(d) {
			b = d
		} else {
			a = c
		}
	}
	return (a + b) / 2
}
