// Package magnetic gives the Earth's magnetic field by the World Magnetic Model, for those
// who turn an aerial by compass: places and days in, declination and its error out. It is
// pure; safe from any goroutine.
//
// A model holds for five years. Before the first and after the last known one the answer is
// ErrOutside, never an old number.
package magnetic

import (
	"embed"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"strconv"
)

// The coefficients: World Magnetic Model of 2020 and of 2025, by NOAA's National Centers for
// Environmental Information and the British Geological Survey; public domain (README.md).
//
//go:embed wmm2020.csv wmm2025.csv
var files embed.FS

// Source names the models for people.
const Source = "World Magnetic Model (NOAA/NCEI and BGS)"

// degree is that of the expansions.
const degree = 12

// validYears is how long a model holds.
const validYears = 5.0

// model is one expansion: Schmidt semi-normalised coefficients, nT, and their change, nT/year.
type model struct {
	epoch        float64
	g, h, dg, dh [degree + 1][degree + 1]float64
}

var models = []*model{mustRead("wmm2020.csv", 2020), mustRead("wmm2025.csv", 2025)}

// First and Until are the years between which the models hold, as decimal years; Until
// itself is outside.
const (
	First = 2020.0
	Until = 2030.0
)

// ErrOutside says that no model holds for that day.
var ErrOutside = errors.New("magnetic: no model holds for this day: the World Magnetic Model built in ends with 2029")

func mustRead(name string, epoch float64) *model {
	m, err := read(name, epoch)
	if err != nil {
		panic(err) // the file is part of the program: a test reads it
	}
	return m
}

func read(name string, epoch float64) (*model, error) {
	f, err := files.Open(name)
	if err != nil {
		return nil, fmt.Errorf("magnetic: %w", err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("magnetic: %s: %w", name, err)
	}
	m := &model{epoch: epoch}
	for _, row := range rows[1:] {
		var v [6]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				return nil, fmt.Errorf("magnetic: %s: %w", name, err)
			}
		}
		n, k := int(v[0]), int(v[1])
		if n < 1 || n > degree || k < 0 || k > n {
			return nil, fmt.Errorf("magnetic: %s: no coefficient %d, %d", name, n, k)
		}
		m.g[n][k], m.h[n][k], m.dg[n][k], m.dh[n][k] = v[2], v[3], v[4], v[5]
	}
	if len(rows) != 1+degree*(degree+3)/2 {
		return nil, fmt.Errorf("magnetic: %s: %d coefficients", name, len(rows)-1)
	}
	return m, nil
}

// at gives the model that holds for a decimal year.
func at(year float64) (*model, error) {
	for _, m := range models {
		if year >= m.epoch && year < m.epoch+validYears {
			return m, nil
		}
	}
	return nil, ErrOutside
}

// coefficients are those of a year.
func (m *model) coefficients(year float64) (g, h [degree + 1][degree + 1]float64) {
	t := year - m.epoch
	for n := 1; n <= degree; n++ {
		for k := 0; k <= n; k++ {
			g[n][k], h[n][k] = m.g[n][k]+t*m.dg[n][k], m.h[n][k]+t*m.dh[n][k]
		}
	}
	return g, h
}

// legendre gives the Schmidt semi-normalised associated Legendre functions of sin φ and
// their derivatives by φ (upward recursion of W. M. Telford's Gauss functions, scaled).
func legendre(sin, cos float64) (p, dp [degree + 1][degree + 1]float64) {
	p[0][0] = 1
	for n := 1; n <= degree; n++ {
		for k := 0; k <= n; k++ {
			switch {
			case k == n:
				f := math.Sqrt(float64(2*n-1) / float64(2*n))
				if n == 1 {
					f = 1
				}
				p[n][n] = f * cos * p[n-1][n-1]
				dp[n][n] = f * (cos*dp[n-1][n-1] - sin*p[n-1][n-1])
			default:
				a := float64(2*n-1) / math.Sqrt(float64(n*n-k*k))
				p[n][k] = a * sin * p[n-1][k]
				dp[n][k] = a * (sin*dp[n-1][k] + cos*p[n-1][k])
				if n-2 >= k {
					b := math.Sqrt(float64((n-1)*(n-1)-k*k)) / math.Sqrt(float64(n*n-k*k))
					p[n][k] -= b * p[n-2][k]
					dp[n][k] -= b * dp[n-2][k]
				}
			}
		}
	}
	return p, dp
}
