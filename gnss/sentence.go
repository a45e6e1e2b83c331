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
	if unchecked {
		d.tally.unchecked++
	}
	if receiver {
		d.asm.beginBurst(&s)
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
	if len(body) < 6 { // an address and nothing else
		d.tally.skipped[skipMalformed]++
		return false
	}
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
