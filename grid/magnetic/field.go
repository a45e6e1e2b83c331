package magnetic

import "math"

// Field is the magnetic field at a place: north, east and down, nT.
type Field struct {
	NorthNT, EastNT, DownNT float64
	at2025                  bool
}

// WGS 84, and the radius to which the coefficients refer, km (WMM technical report).
const (
	axisKM      = 6378.137
	flattening  = 1 / 298.257223563
	referenceKM = 6371.2
)

// At is the field at a place (degrees, north and east positive; height above WGS 84, km) in
// a decimal year: 2026.5 is the middle of 2026.
func At(latDeg, lonDeg, heightKM, year float64) (Field, error) {
	m, err := at(year)
	if err != nil {
		return Field{}, err
	}
	g, h := m.coefficients(year)
	lat, lon := latDeg*math.Pi/180, lonDeg*math.Pi/180
	// From the ellipsoid to the sphere.
	const e2 = flattening * (2 - flattening)
	sinLat, cosLat := math.Sincos(lat)
	rc := axisKM / math.Sqrt(1-e2*sinLat*sinLat)
	rho, z := (rc+heightKM)*cosLat, (rc*(1-e2)+heightKM)*sinLat
	r := math.Hypot(rho, z)
	sin, cos := z/r, rho/r
	p, dp := legendre(sin, cos)
	var north, east, down float64 // on the sphere
	ratio := referenceKM / r
	power := ratio * ratio
	for n := 1; n <= degree; n++ {
		power *= ratio
		for k := 0; k <= n; k++ {
			sinK, cosK := math.Sincos(float64(k) * lon)
			along := g[n][k]*cosK + h[n][k]*sinK
			north -= power * along * dp[n][k]
			east += power * float64(k) * (g[n][k]*sinK - h[n][k]*cosK) * p[n][k]
			down -= power * float64(n+1) * along * p[n][k]
		}
	}
	east /= math.Max(cos, 1e-12) // at a pole itself longitude, and so east, is a convention
	// And back: the vertical of the ellipsoid is turned by the difference of the latitudes.
	turnSin, turnCos := math.Sincos(math.Atan2(sin, cos) - lat)
	return Field{NorthNT: north*turnCos - down*turnSin, EastNT: east, DownNT: north*turnSin + down*turnCos, at2025: m.epoch >= 2025}, nil
}

// HorizontalNT is the horizontal intensity, nT: what turns a compass.
func (f Field) HorizontalNT() float64 { return math.Hypot(f.NorthNT, f.EastNT) }

// TotalNT is the total intensity, nT.
func (f Field) TotalNT() float64 { return math.Hypot(f.HorizontalNT(), f.DownNT) }

// DeclinationDeg is how far east of true north a compass points, degrees.
func (f Field) DeclinationDeg() float64 { return math.Atan2(f.EastNT, f.NorthNT) * 180 / math.Pi }

// InclinationDeg is how steeply the field goes down, degrees.
func (f Field) InclinationDeg() float64 {
	return math.Atan2(f.DownNT, f.HorizontalNT()) * 180 / math.Pi
}

// DeclinationSigmaDeg is the error of the declination, 1 σ, degrees: of the model, and of
// what rocks add to it. For 2025 √(0.26² + (5417/H)²), for 2020 √(0.26² + (5625/H)²), H in
// nT (the models' technical reports; from memory). Iron nearby is not in it.
func (f Field) DeclinationSigmaDeg() float64 {
	weak := 5625.0
	if f.at2025 {
		weak = 5417
	}
	return math.Hypot(0.26, weak/f.HorizontalNT())
}

// What a compass is worth, by the horizontal intensity: below 2000 nT it tells nothing, below
// 6000 nT it is to be used with caution (the technical reports' zones; from memory).
const (
	BlackoutNT = 2000
	CautionNT  = 6000
)

// Compass says what a compass is worth here.
type Compass int

const (
	Good Compass = iota
	Caution
	Blackout // it tells nothing
)

// Compass tells by the horizontal intensity.
func (f Field) Compass() Compass {
	switch h := f.HorizontalNT(); {
	case h < BlackoutNT:
		return Blackout
	case h < CautionNT:
		return Caution
	}
	return Good
}
