package gnss

import (
	"time"

	"github.com/adrianmo/go-nmea"

	"noonmark/clockcheck/timescale"
)

// said is what one sentence said.
type said struct {
	kind      Types
	addr      [5]byte // talker and type
	at        timescale.Local
	pos, end  uint64 // its place in the stream
	unchecked bool

	hasTime bool
	noTime  bool          // it has a place for the time, and the place is empty
	tod     time.Duration // from 24 h on: a leap second
	date    date

	status, mode byte
	quality      int8
	fix          Fix
	satellites   int8
	hdop, pdop   float32
	hasPos       bool
	lat, lon     Angle
	hasAlt       bool
	alt          float32
	hasSigma     bool
	sLat, sLon   float32
	speed        float32
}

const (
	strongTypes = TypeRMC | TypeGGA | TypeGNS | TypeGLL // their time is that of the fix
	parsedTypes = strongTypes | TypeZDA | TypeGSA | TypeGST
)

// kindOf tells what a three-letter type is to us, and whether a receiver's burst
// can begin with it (a boat's bus carries wind and depth between).
func kindOf(t [3]byte) (kind Types, receiver bool) {
	switch t {
	case [3]byte{'R', 'M', 'C'}:
		return TypeRMC, true
	case [3]byte{'G', 'G', 'A'}:
		return TypeGGA, true
	case [3]byte{'G', 'N', 'S'}:
		return TypeGNS, true
	case [3]byte{'G', 'L', 'L'}:
		return TypeGLL, true
	case [3]byte{'Z', 'D', 'A'}:
		return TypeZDA, true
	case [3]byte{'G', 'S', 'A'}:
		return TypeGSA, true
	case [3]byte{'G', 'S', 'T'}:
		return TypeGST, true
	case [3]byte{'G', 'S', 'V'}:
		return TypeGSV, true
	case [3]byte{'V', 'T', 'G'}, [3]byte{'D', 'T', 'M'}, [3]byte{'G', 'B', 'S'}, [3]byte{'G', 'R', 'S'}, [3]byte{'T', 'X', 'T'}:
		return TypeOther, true
	}
	return TypeOther, false
}

// sentence takes a framed, checked line: what stands between start character and
// '*'.
func (d *Decoder) sentence(body []byte, unchecked bool) {
	comma := 0
	for comma < len(body) && body[comma] != ',' {
		if c := body[comma]; (c < 'A' || c > 'Z') && (c < '0' || c > '9') {
			d.tally.skipped[skipMalformed]++
			return
		}
		comma++
	}
	if comma < 3 || comma == len(body) && unchecked {
		d.tally.skipped[skipMalformed]++
		return
	}
	s := said{at: d.start, pos: d.pos, end: d.pos + uint64(d.n), unchecked: unchecked}
	s.kind = TypeOther
	name, receiver := s.addr, false
	copy(name[:], body[:comma])
	if comma == 5 && body[0] != 'P' && d.line[0] == '$' {
		copy(s.addr[:], body)
		s.kind, receiver = kindOf([3]byte(body[2:5]))
		name = [5]byte{body[2], body[3], body[4]}
	}
	d.tally.sentence(name)
	if receiver {
		d.asm.lead(&s)
	}
	switch {
	case s.kind&parsedTypes != 0:
		if !d.parse(&s, body) {
			return
		}
		d.asm.take(d, &s)
	case s.kind == TypeGSV:
		d.gsv.keep(body, s.at)
		d.asm.note(&s)
	default:
		d.tally.skipped[skipUnneeded]++
		d.asm.note(&s)
	}
}

// maxFields is more than any sentence we read has (GSA: 18).
const maxFields = 24

// parse reads the fields of a sentence we need. It reports false, with the
// reason counted, if any of them is impossible: nothing of such a sentence is
// used.
func (d *Decoder) parse(s *said, body []byte) (ok bool) {
	defer func() {
		if recover() != nil { // a last net: the library has panicked on other types
			d.tally.skipped[skipFault]++
			ok = false
		}
	}()
	var fields [maxFields]string
	text := string(body[6:]) // the one allocation of a sentence
	n, from := 0, 0
	for i := 0; i <= len(text) && n < maxFields; i++ {
		if i == len(text) || text[i] == ',' {
			fields[n] = text[from:i]
			n, from = n+1, i+1
		}
	}
	p := nmea.NewParser(nmea.BaseSentence{Fields: fields[:n]})
	s.quality, s.satellites, s.speed = -1, -1, -1
	switch s.kind {
	case TypeRMC:
		d.rmc(s, p)
	case TypeGGA:
		gga(s, p)
	case TypeGNS:
		gns(s, p)
	case TypeGLL:
		gll(s, p)
	case TypeZDA:
		d.zda(s, p)
	case TypeGSA:
		gsa(s, p)
	case TypeGST:
		gst(s, p)
	}
	if p.Err() != nil {
		d.tally.skipped[skipMalformed]++
		return false
	}
	return true
}

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
