package gnss

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// Satellite is one satellite in view, on one signal, as GSV gives it.
type Satellite struct {
	Talker    [2]byte // of the sentence: GP, GL, GA, GB, …
	ID        int16
	Signal    byte  // signal id as printed ('1', 'B', …), 0 = not given
	Elevation int8  // degrees, −128 = not known
	Azimuth   int16 // degrees, −1 = not known
	CN0       int8  // carrier to noise density, dB-Hz, −1 = not tracked
}

// systems names the talkers of GSV (NMEA 0183; QZSS and NavIC as receivers send them).
var systems = map[string]string{"GP": "GPS", "GL": "GLONASS", "GA": "Galileo", "GB": "BeiDou", "BD": "BeiDou",
	"GQ": "QZSS", "QZ": "QZSS", "GI": "NavIC"}

// System names the system that the satellite belongs to, by its talker; the talker
// itself where it is of no known system.
func (s *Satellite) System() string {
	talker := string(s.Talker[:])
	if name := systems[talker]; name != "" {
		return name
	}
	return talker
}

// gsvStore keeps the latest GSV sentences as they came; they are read only when
// somebody asks.
type gsvStore struct {
	ring [64]gsvLine
	next int
}

type gsvLine struct {
	body [100]byte
	n    int
	at   timescale.Local
}

const gsvAge = 10 * time.Second // older ones do not say what is in view now

func (g *gsvStore) keep(body []byte, at timescale.Local) {
	l := &g.ring[g.next%len(g.ring)]
	l.n, l.at = copy(l.body[:], body), at
	if len(body) > len(l.body) { // no true GSV is that long (at most 75)
		l.n = 0
	}
	g.next++
}

// Satellites appends what the receiver last said to be in view to dst and returns
// it, one entry for each satellite and signal, newest talker first. A list that
// arrived incomplete gives what arrived.
func (d *Decoder) Satellites(dst []Satellite) []Satellite {
	g := &d.gsv
	var seen []gsvGroup
	var newest timescale.Local
	for k := 1; k <= min(g.next, len(g.ring)); k++ {
		l := &g.ring[(g.next-k)%len(g.ring)]
		if k == 1 {
			newest = l.at
		}
		if newest.Sub(l.at) > gsvAge {
			break
		}
		var f [25][]byte
		n := split(l.body[:l.n], &f)
		if n < 4 {
			continue
		}
		dst, seen = group(dst, seen, f[:n])
	}
	return dst
}

// gsvGroup is the newest list of one talker and signal, as far as it was walked
// back.
type gsvGroup struct {
	talker [2]byte
	signal byte
	last   int // number of the message taken last; only smaller ones belong to the same list
}

// group appends the satellites of one GSV sentence, unless a newer list of its
// talker and signal was already taken. Sentences come newest first.
func group(dst []Satellite, seen []gsvGroup, f [][]byte) ([]Satellite, []gsvGroup) {
	num, ok := digits(string(f[2]))
	if !ok {
		return dst, seen
	}
	var signal byte
	sats := f[4:]
	if len(sats)%4 == 1 {
		if s := sats[len(sats)-1]; len(s) == 1 && hex(s[0]) < 16 {
			signal = s[0]
		}
		sats = sats[:len(sats)-1]
	}
	talker := [2]byte(f[0])
	i := 0
	for i < len(seen) && (seen[i].talker != talker || seen[i].signal != signal) {
		i++
	}
	if i == len(seen) {
		seen = append(seen, gsvGroup{talker, signal, num + 1})
	}
	if num >= seen[i].last {
		seen[i].last = 0 // the list before: no more of it
		return dst, seen
	}
	seen[i].last = num
	for ; len(sats) >= 4; sats = sats[4:] {
		id, ok := digits(string(sats[0]))
		if !ok || id > 9999 {
			continue
		}
		dst = append(dst, Satellite{
			Talker: talker, ID: int16(id), Signal: signal,
			Elevation: int8(signedOr(sats[1], 90, -128)),
			Azimuth:   int16(signedOr(sats[2], 360, -1)),
			CN0:       int8(signedOr(sats[3], 99, -1)),
		})
	}
	return dst, seen
}

// signedOr reads a whole number whose size is at most max, otherwise none.
func signedOr(b []byte, max, none int) int {
	neg := len(b) > 0 && b[0] == '-'
	if neg {
		b = b[1:]
	}
	n, ok := digits(string(b))
	if !ok || n > max {
		return none
	}
	if neg && none != -1 { // only an elevation has a sign
		return -n
	}
	if neg {
		return none
	}
	return n
}

// split cuts a sentence at its commas.
func split(b []byte, f *[25][]byte) int {
	n, from := 0, 0
	for i := 0; i <= len(b) && n < len(f); i++ {
		if i == len(b) || b[i] == ',' {
			f[n] = b[from:i]
			n, from = n+1, i+1
		}
	}
	return n
}
