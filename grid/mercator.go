package grid

import "math"

// Transverse Mercator by Krüger's series to the sixth order in the third
// flattening n (L. Krüger 1912, extended as in C. F. F. Karney, "Transverse
// Mercator with an accuracy of a few nanometers", J. Geodesy 85 (2011), eqs.
// 35 and 36). Scale and false origins are left to the caller.

// alpha and beta are indexed from 1; rectifying is Karney's A.
var (
	alpha, beta [7]float64
	rectifying  float64
)

func init() {
	n := wgsN
	n2, n3, n4, n5, n6 := n*n, n*n*n, n*n*n*n, n*n*n*n*n, n*n*n*n*n*n
	rectifying = wgsA / (1 + n) * (1 + n2/4 + n4/64 + n6/256)
	alpha = [7]float64{0,
		n/2 - 2*n2/3 + 5*n3/16 + 41*n4/180 - 127*n5/288 + 7891*n6/37800,
		13*n2/48 - 3*n3/5 + 557*n4/1440 + 281*n5/630 - 1983433*n6/1935360,
		61*n3/240 - 103*n4/140 + 15061*n5/26880 + 167603*n6/181440,
		49561*n4/161280 - 179*n5/168 + 6601661*n6/7257600,
		34729*n5/80640 - 3418889*n6/1995840,
		212378941 * n6 / 319334400,
	}
	beta = [7]float64{0,
		n/2 - 2*n2/3 + 37*n3/96 - n4/360 - 81*n5/512 + 96199*n6/604800,
		n2/48 + n3/15 - 437*n4/1440 + 46*n5/105 - 1118711*n6/3870720,
		17*n3/480 - 37*n4/840 - 209*n5/4480 + 5569*n6/90720,
		4397*n4/161280 - 11*n5/504 - 830251*n6/7257600,
		4583*n5/161280 - 108847*n6/3991680,
		20648693 * n6 / 638668800,
	}
}

// project gives easting and northing in metres, scale 1, of a latitude and a
// longitude counted from the central meridian, both in degrees.
func project(latDeg, dLonDeg float64) (east, north float64) {
	e := math.Sqrt(wgsE2)
	tau := math.Tan(latDeg * math.Pi / 180)
	sinL, cosL := math.Sincos(dLonDeg * math.Pi / 180)
	sigma := math.Sinh(e * math.Atanh(e*tau/math.Hypot(1, tau)))
	tauC := tau*math.Hypot(1, sigma) - sigma*math.Hypot(1, tau)
	xi0 := math.Atan2(tauC, cosL)
	eta0 := math.Asinh(sinL / math.Hypot(tauC, cosL))
	xi, eta := xi0, eta0
	for j := 1; j <= 6; j++ {
		k := 2 * float64(j)
		xi += alpha[j] * math.Sin(k*xi0) * math.Cosh(k*eta0)
		eta += alpha[j] * math.Cos(k*xi0) * math.Sinh(k*eta0)
	}
	return rectifying * eta, rectifying * xi
}

// unproject is the inverse of project.
func unproject(east, north float64) (latDeg, dLonDeg float64) {
	xi, eta := north/rectifying, east/rectifying
	xi0, eta0 := xi, eta
	for j := 1; j <= 6; j++ {
		k := 2 * float64(j)
		xi0 -= beta[j] * math.Sin(k*xi) * math.Cosh(k*eta)
		eta0 -= beta[j] * math.Cos(k*xi) * math.Sinh(k*eta)
	}
	sinXi, cosXi := math.Sincos(xi0)
	sinhEta := math.Sinh(eta0)
	tauC := sinXi / math.Hypot(sinhEta, cosXi)
	tau := geographicTan(tauC)
	return math.Atan(tau) * 180 / math.Pi, math.Atan2(sinhEta, cosXi) * 180 / math.Pi
}

// geographicTan turns the tangent of the conformal latitude into that of the
// geographic one, by Newton's method (Karney 2011, eqs. 19 to 21).
func geographicTan(tauC float64) float64 {
	e := math.Sqrt(wgsE2)
	tau := tauC / (1 - wgsE2)
	for range 6 { // three suffice for 1e-16; the rest costs nothing that matters
		h := math.Hypot(1, tau)
		sigma := math.Sinh(e * math.Atanh(e*tau/h))
		t := tau*math.Hypot(1, sigma) - sigma*h
		tau += (tauC - t) / math.Hypot(1, t) * (1 + (1-wgsE2)*tau*tau) / ((1 - wgsE2) * h)
	}
	return tau
}
