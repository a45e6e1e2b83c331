package gnss

import "github.com/adrianmo/go-nmea"

// atLeast refuses a sentence that ends before its n-th field.
func atLeast(p *nmea.Parser, n int) {
	if len(p.Fields) < n {
		p.SetErr("number of fields", "too few")
	}
}

func (s *said) clock(p *nmea.Parser, i int) {
	f := field(p, i)
	if f == "" {
		s.noTime = true
		return
	}
	if s.tod, s.hasTime = clock(f); !s.hasTime {
		p.SetErr("time", f)
	}
}

// position reads latitude, N/S, longitude, E/W from field i on. Two empty numbers
// are no position, whatever the letters say; one is an error.
func (s *said) position(p *nmea.Parser, i int) {
	lat, lon := field(p, i), field(p, i+2)
	if lat == "" && lon == "" {
		return
	}
	var ok1, ok2 bool
	s.lat, ok1 = angle(lat, field(p, i+1), 2, 'N', 'S', 90)
	s.lon, ok2 = angle(lon, field(p, i+3), 3, 'E', 'W', 180)
	if s.hasPos = ok1 && ok2; !s.hasPos {
		p.SetErr("position", lat)
	}
}

// modeLetters are those of the standard up to 4.11.
const modeLetters = "ADEFMNPRS"

// mode reads a mode letter. A letter that is not the standard's is passed over:
// some makers have their own, and none of ours depends on it.
func mode(f string) byte {
	if len(f) == 1 {
		for i := 0; i < len(modeLetters); i++ {
			if f[0] == modeLetters[i] {
				return f[0]
			}
		}
	}
	return 0
}

// denied tells that a sentence calls its own position invalid.
func (s *said) denied() bool { return s.status == 'V' || s.mode == 'N' || s.quality == 0 }

func (d *Decoder) rmc(s *said, p *nmea.Parser) {
	atLeast(p, 9)
	s.clock(p, 0)
	s.status = letter(p, 1, "status", "AV")
	s.position(p, 2)
	if v, ok := number(p, 6, "speed"); ok {
		s.speed = float32(v * 1852 / 3600) // knots
	}
	var ok bool
	if s.date, ok = ddmmyy(field(p, 8), d.yearFirst); !ok {
		p.SetErr("date", field(p, 8))
	}
	s.mode = mode(field(p, 11))
	s.hasPos = s.hasPos && !s.denied()
}

func gga(s *said, p *nmea.Parser) {
	atLeast(p, 6)
	s.clock(p, 0)
	s.position(p, 1)
	s.quality = count(p, 5, 9, "quality")
	s.satellites = count(p, 6, 99, "satellites")
	s.dilutionAndHeight(p, 7)
	s.hasPos = s.hasPos && !s.denied()
}

// dilutionAndHeight reads HDOP and altitude, neighbours in GGA and GNS.
func (s *said) dilutionAndHeight(p *nmea.Parser, i int) {
	s.hdop = dilution(p, i)
	if v, ok := number(p, i+1, "altitude"); ok {
		s.alt, s.hasAlt = float32(v), true
	}
}

func dilution(p *nmea.Parser, i int) float32 {
	v, _ := number(p, i, "dilution")
	if v < 0 {
		p.SetErr("dilution", field(p, i))
	}
	return float32(v)
}

// gns reads GNS, whose mode field has one letter for each system: the best
// counts.
func gns(s *said, p *nmea.Parser) {
	atLeast(p, 6)
	s.clock(p, 0)
	s.position(p, 1)
	const best = "RFPDASMEN"
	rank := len(best)
	modes := field(p, 5)
	for i := 0; i < len(modes); i++ {
		if mode(modes[i:i+1]) == 0 {
			p.SetErr("mode", modes)
			return
		}
		for r := 0; r < rank; r++ {
			if best[r] == modes[i] {
				rank, s.mode = r, modes[i]
			}
		}
	}
	s.satellites = count(p, 6, 99, "satellites")
	s.dilutionAndHeight(p, 7)
	s.hasPos = s.hasPos && !s.denied()
}

// gll reads GLL; some instruments send its four position fields only.
func gll(s *said, p *nmea.Parser) {
	atLeast(p, 4)
	s.position(p, 0)
	if len(p.Fields) > 4 {
		s.clock(p, 4)
	}
	s.status = letter(p, 5, "status", "AV")
	s.mode = mode(field(p, 6))
	s.hasPos = s.hasPos && !s.denied()
}

func (d *Decoder) zda(s *said, p *nmea.Parser) {
	atLeast(p, 1)
	s.clock(p, 0)
	day, month, year := field(p, 1), field(p, 2), field(p, 3)
	if day == "" && month == "" && year == "" {
		return
	}
	dd, ok1 := digits(day)
	mm, ok2 := digits(month)
	yy, ok3 := digits(year)
	wide := len(year)
	if wide == 2 { // against the standard, but sent by a chart plotter
		yy = fullYear(yy, d.yearFirst)
	}
	ok4 := false
	s.date, ok4 = calendar(yy, mm, dd, wide)
	if !ok1 || !ok2 || !ok3 || !ok4 || wide != 2 && wide != 4 || len(day) > 2 || len(month) > 2 {
		p.SetErr("date", day)
	}
}

func gsa(s *said, p *nmea.Parser) {
	atLeast(p, 2)
	switch count(p, 1, 3, "fix") {
	case 1:
		s.fix = FixNone
	case 2:
		s.fix = Fix2D
	case 3:
		s.fix = Fix3D
	}
	s.pdop = dilution(p, 14)
	s.hdop = dilution(p, 15)
}

func gst(s *said, p *nmea.Parser) {
	atLeast(p, 7)
	s.clock(p, 0)
	lat, ok1 := number(p, 5, "error of latitude")
	lon, ok2 := number(p, 6, "error of longitude")
	if lat < 0 || lon < 0 {
		p.SetErr("error of latitude", field(p, 5))
	}
	s.sLat, s.sLon, s.hasSigma = float32(lat), float32(lon), ok1 && ok2
}
