package bank

import "math"

// The equation asks for the tail of a Gaussian some hundred times a reading, and most of
// what a reading costs would be math.Erfc. So its values stand in a table, and a Taylor
// series goes on from the nearest row: of fourth order, with |z|·d ≤ 8/128, its relative
// error is below (8/128)⁵/5! = 8e-9.

const (
	farthestZ = 8  // beyond it the tail is erfc(8/√2)/2 < 1e-15
	rows      = 64 // a unit of z: d ≤ 1/128, see above
)

// normalRow is a standard Gaussian at one z.
type normalRow struct {
	density float64 // φ(z)
	beyond  float64 // Q(z) = ∫ φ from z on
	loss    float64 // L(z) = ∫ Q from z on = φ(z) − z·Q(z)
}

// normal is the table, of φ(z) = exp(−z²/2)/√(2π) and its integrals.
var normal = func() (table [2*farthestZ*rows + 1]normalRow) {
	for i := range table {
		z := float64(i)/rows - farthestZ
		r := normalRow{density: math.Exp(-z*z/2) / math.Sqrt(2*math.Pi), beyond: math.Erfc(z/math.Sqrt2) / 2}
		r.loss = r.density - z*r.beyond
		table[i] = r
	}
	return table
}()

// row is the one nearest to z, its z, and how much further z is; |z| ≤ farthestZ.
func row(z float64) (r *normalRow, at, d float64) {
	i := int((z+farthestZ)*rows + 0.5)
	at = float64(i)/rows - farthestZ
	return &normal[i], at, z - at
}

// beyond is the probability that a Gaussian is beyond z σ on one side.
func beyond(z float64) float64 {
	switch {
	case z > farthestZ:
		return 0
	case !(z >= -farthestZ):
		return 1
	}
	r, at, d := row(z)
	return r.beyond - r.density*d*(1-d/2*(at-d/3*(at*at-1-d/4*at*(at*at-3))))
}

// loss is the mean by which a Gaussian exceeds z σ, in σ; where z is below −farthestZ, −z.
func loss(z float64) float64 {
	switch {
	case z > farthestZ:
		return 0
	case !(z >= -farthestZ):
		return -z
	}
	r, at, d := row(z)
	return r.loss - d*(r.beyond-r.density*d/2*(1-d/3*(at-d/4*(at*at-1))))
}
