// Package sun tells where the sun stands and when it rises and sets, to the minute: bands
// open and close with it. Places and times in, times out. It is pure; safe from any
// goroutine.
//
// The algorithm is that of J. Meeus, Astronomical Algorithms, 2nd edition (1998), chapter
// 25 (low accuracy: 0.01 degree) and chapter 12 (sidereal time). Rise and set are those of
// the upper limb with 34 minutes of arc of refraction at the horizon of the sea; mountains
// and weather move them by minutes.
package sun

import (
	"math"
	"time"
)

// Altitudes of the sun's middle at which the day changes, degrees: US Naval Observatory,
// "Rise, Set, and Twilight Definitions".
const (
	Horizon      = -50.0 / 60
	Civil        = -6.0
	Nautical     = -12.0
	Astronomical = -18.0
)

// deltaT is terrestrial time minus UTC, s: 64 in 2000, 69 in 2020; an error of a minute in
// it is none of a second in rise and set.
const deltaT = 69.0

const radian = math.Pi / 180

// centuries are those since 2000-01-01 12:00 by a clock of terrestrial time.
func centuries(t time.Time) float64 {
	return (days(t) + deltaT/86400) / 36525
}

// days are those of UTC since 2000-01-01 12:00.
func days(t time.Time) float64 {
	epoch := time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)
	return float64(t.Unix()-epoch.Unix())/86400 + float64(t.Nanosecond())/86400e9
}

// apparent gives the sun's apparent right ascension and declination, radians.
func apparent(c float64) (ascension, declination float64) {
	mean := 280.46646 + c*(36000.76983+c*0.0003032)
	anomaly := (357.52911 + c*(35999.05029-c*0.0001537)) * radian
	center := (1.914602-c*(0.004817+c*0.000014))*math.Sin(anomaly) + (0.019993-c*0.000101)*math.Sin(2*anomaly) + 0.000289*math.Sin(3*anomaly)
	node := (125.04 - c*1934.136) * radian
	longitude := (mean + center - 0.00569 - 0.00478*math.Sin(node)) * radian
	obliquity := (23 + (26+(21.448-c*(46.8150+c*(0.00059-c*0.001813)))/60)/60 + 0.00256*math.Cos(node)) * radian
	sin, cos := math.Sincos(longitude)
	return math.Atan2(math.Cos(obliquity)*sin, cos), math.Asin(math.Sin(obliquity) * sin)
}

// sidereal is Greenwich mean sidereal time, radians (chapter 12).
func sidereal(t time.Time) float64 {
	d := days(t)
	c := d / 36525
	return (280.46061837 + 360.98564736629*d + c*c*(0.000387933-c/38710000)) * radian
}

// Altitude is how high the sun's middle stands at a place (degrees, north and east
// positive) at an instant, degrees, without refraction.
func Altitude(latDeg, lonDeg float64, t time.Time) float64 {
	ascension, declination := apparent(centuries(t))
	hour := sidereal(t) + lonDeg*radian - ascension
	sinLat, cosLat := math.Sincos(latDeg * radian)
	sinDec, cosDec := math.Sincos(declination)
	return math.Asin(sinLat*sinDec+cosLat*cosDec*math.Cos(hour)) / radian
}

// Up tells whether it is day: whether the sun's upper limb is above the horizon.
func Up(latDeg, lonDeg float64, t time.Time) bool { return Altitude(latDeg, lonDeg, t) >= Horizon }
