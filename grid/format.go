package grid

import (
	"fmt"
	"math"
	"strconv"
)

// Decimal writes p in degrees with six decimals (0.1 m), latitude first:
// "-20.130000, -67.490000".
func (p Point) Decimal() string {
	return fixed(p.lat, 6) + ", " + fixed(p.lon, 6)
}

// DM writes p in degrees and minutes with four decimals (0.2 m):
// 20°07.8000'S 067°29.4000'W.
func (p Point) DM() string {
	return p.sexagesimal(func(units int64, width int) string {
		m := divRound(units, unitsPerDegree/60/10_000) // 1e-4 minutes
		return fmt.Sprintf("%0*d°%02d.%04d'", width, m/600_000, m/10_000%60, m%10_000)
	})
}

// DMS writes p in degrees, minutes and seconds with two decimals (0.3 m):
// 20°07'48.00"S 067°29'24.00"W.
func (p Point) DMS() string {
	return p.sexagesimal(func(units int64, width int) string {
		s := divRound(units, unitsPerDegree/3600/100) // 0.01 seconds
		return fmt.Sprintf(`%0*d°%02d'%02d.%02d"`, width, s/360_000, s/6000%60, s/100%60, s%100)
	})
}

// sexagesimal adds the letters to what write makes of the absolute values. The
// whole value is rounded before it is split, so 60 minutes never appear.
func (p Point) sexagesimal(write func(units int64, width int) string) string {
	ns, ew := "N", "E"
	if p.lat < 0 {
		ns = "S"
	}
	if p.lon < 0 {
		ew = "W"
	}
	return write(abs(p.lat), 2) + ns + " " + write(abs(p.lon), 3) + ew
}

// Geo writes p as a geo URI (RFC 5870): "geo:-20.13,-67.49;u=9". Without an uncertainty
// it has up to nine decimals; with one, in metres, as few as move the place by a tenth of
// it at most, and the uncertainty holds that too, rounded up to whole metres. A negative
// one, NaN or infinite means not known and leaves it out. At a pole the longitude is
// written 0, as the RFC asks.
func (p Point) Geo(uncertaintyM float64) string {
	if abs(p.lat) == maxLat {
		p.lon = 0
	}
	if !(uncertaintyM >= 0) || math.IsInf(uncertaintyM, 0) {
		return "geo:" + trimZeros(fixed(p.lat, 9)) + "," + trimZeros(fixed(p.lon, 9))
	}
	n := 1
	for ; n < 9 && degreeM/math.Sqrt2*math.Pow10(-n) > uncertaintyM/10; n++ {
	}
	lat, lon := fixed(p.lat, n), fixed(p.lon, n)
	if written, err := ParsePlace(lat + "," + lon); err == nil {
		uncertaintyM += Inverse(p, written.Point).DistanceM
	}
	const grain = 1e-6 // of the way between equal places
	return "geo:" + trimZeros(lat) + "," + trimZeros(lon) + ";u=" + strconv.FormatFloat(math.Ceil(max(0, uncertaintyM-grain)), 'f', 0, 64)
}

// degreeM is the longest degree of latitude, metres.
const degreeM = 111_694.0

// fixed writes an angle in degrees with 1 to 9 decimals, rounded half away
// from zero, never "-0".
func fixed(units int64, decimals int) string {
	scale := int64(1)
	for range decimals {
		scale *= 10
	}
	v := divRound(abs(units), unitsPerDegree/scale)
	sign := ""
	if units < 0 && v != 0 {
		sign = "-"
	}
	return fmt.Sprintf("%s%d.%0*d", sign, v/scale, decimals, v%scale)
}

func trimZeros(s string) string {
	for s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	return s
}

func divRound(a, b int64) int64 { return (a + b/2) / b } // a ≥ 0

func abs(v int64) int64 {
	if v < 0 {
		return -v
	}
	return v
}
