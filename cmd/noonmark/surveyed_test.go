package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"testing"

	"noonmark/cmd/internal/exit"
)

// A receiver at a surveyed point: the averaged place is that of the point. The capture is of a
// reference station (testdata/nmea/SOURCES.csv; BSD-3-Clause), which sends between its NMEA
// sentences the coordinates that its antenna was given, RTCM 10403 message 1005 (its layout
// from memory; its check sum and the height, 72.1 m in both, confirm it). It prints
// its own fixed place, so what is checked is the way from sentences to a place, not
// the scatter of fixes: no capture with an open licence was found that has both.
func TestPlaceOfASurveyedPoint(t *testing.T) {
	const path = "../../testdata/nmea/semuconsulting/pygpsdata-rtcm3.log"
	capture, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lat, lon, n := antennaOf(capture)
	if n < 150 {
		t.Fatalf("%d messages", n)
	}
	code, out, errOut := runArgs("replay", "--json", path)
	var r struct {
		Status struct {
			Position struct {
				Lat    float64 `json:"lat_deg"`
				Lon    float64 `json:"lon_deg"`
				Bound  float64 `json:"bound_m"`
				During float64 `json:"averaged_s"`
			}
		}
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil || code != exit.OK {
		t.Fatalf("exit %d, %v, %s", code, err, errOut)
	}
	// Its sentences have five decimals of a minute: 9 mm to each side.
	p := r.Status.Position
	if north, east := (p.Lat-lat)*110_900, (p.Lon-lon)*94_400; math.Abs(north) > 0.01 || math.Abs(east) > 0.01 || p.During < 150 || p.Bound < 0.01 {
		t.Errorf("%+v; the antenna is at %.9f, %.9f: %.3f m north and %.3f m east of it", p, lat, lon, north, east)
	}
}

// antennaOf gives the reference point of the last message 1005 (degrees) and how many there are.
func antennaOf(b []byte) (lat, lon float64, n int) {
	for {
		i := bytes.IndexByte(b, 0xD3)
		if i < 0 || len(b) < i+6 {
			return lat, lon, n
		}
		b = b[i:]
		size := int(b[1]&3)<<8 | int(b[2])
		if size != 19 || len(b) < size+6 || crc24(b[:size+6]) != 0 || bits(b[3:], 0, 12) != 1005 {
			b = b[1:]
			continue
		}
		x, y, z := float64(bits(b[3:], 34, 38))/1e4, float64(bits(b[3:], 74, 38))/1e4, float64(bits(b[3:], 114, 38))/1e4
		lat, lon = fromCentre(x, y, z)
		n, b = n+1, b[size+6:]
	}
}

// bits reads a signed number.
func bits(b []byte, from, size int) int64 {
	var v int64
	for i := from; i < from+size; i++ {
		v = v<<1 | int64(b[i/8]>>(7-i%8)&1)
	}
	return v << (64 - size) >> (64 - size)
}

// crc24 is CRC-24Q; over a message with its check sum it is 0.
func crc24(b []byte) (crc uint32) {
	for _, c := range b {
		crc ^= uint32(c) << 16
		for range 8 {
			if crc <<= 1; crc&0x1000000 != 0 {
				crc ^= 0x1864CFB
			}
		}
	}
	return crc
}

// fromCentre turns metres from the Earth's centre into degrees on WGS 84, by iteration.
func fromCentre(x, y, z float64) (lat, lon float64) {
	const a, f = 6378137.0, 1 / 298.257223563
	const e2 = f * (2 - f)
	p := math.Hypot(x, y)
	phi := math.Atan2(z, p*(1-e2))
	for range 10 {
		sin := math.Sin(phi)
		phi = math.Atan2(z+e2*a/math.Sqrt(1-e2*sin*sin)*sin, p)
	}
	return phi * 180 / math.Pi, math.Atan2(y, x) * 180 / math.Pi
}
