package clockcheck

import (
	"math"

	"noonmark/clockcheck/timescale"
)

// Handed is the judged time, for whoever hands it on to other devices.
type Handed struct {
	At       timescale.Local // the instant it belongs to
	UTC      timescale.UTC   // the estimate at At
	RatePPM  float64         // UTC gains so much on the local timescale
	Guard    float64         // s: half-width of all that is possible at At
	GuardPPM float64         // growth of the guard while no reading comes
	Basis    Basis
	// Confirmed is the instant of the newest reading that took part.
	Confirmed timescale.Local
	// Server is, of the servers that agree and were heard lately, the one with the
	// least bound; zero where there is none.
	Server Upstream
	// Leap is what all of those say of the end of the month; 0 where they differ.
	Leap int
}

// Upstream is a server's place in the network of servers (RFC 5905 section 7.3).
type Upstream struct {
	ID      [4]byte // reference id of those who follow it; zero = not known
	Port    int     // where it was asked; another than ntpPort may be another machine
	Follows [4]byte // its own reference id, as it says
	Stratum int     // 0 = not known
	Leap    int     // 0 none, 1 a second is inserted at the end of the month, 2 left out
}

// guardHorizon is over how long the growth of the guard is taken, s: longer than
// any Handed is in use.
const guardHorizon = 10

// Hand returns the time to hand on at now; false while there is none that the judge
// vouches for, however widely.
func (j *Judge) Hand(now timescale.Local) (Handed, bool) {
	if !j.x.known || !j.x.dateProved {
		return Handed{}, false
	}
	j.f.advance(now)
	j.choose(now)
	g := j.guardAhead(0).about(j.view.correction).half()
	h := Handed{At: now, UTC: timescale.UTC(int64(now) + j.f.base + int64(math.Round((j.f.v[sX]+j.view.correction)*1e9))), RatePPM: j.f.v[sY] * 1e6,
		Guard: g, GuardPPM: math.Max(j.guardAhead(guardHorizon).about(j.view.correction).half()-g, 0) / guardHorizon * 1e6,
		Basis: j.basis(now), Confirmed: j.confirmed()}
	best := math.Inf(1)
	for i := range j.servers[:j.nServer] {
		s := &j.servers[i]
		if !s.agrees || now.Sub(s.at) >= serverFresh {
			continue
		}
		switch {
		case math.IsInf(best, 1):
			h.Leap = s.upstream.Leap
		case h.Leap != s.upstream.Leap:
			h.Leap = 0
		}
		if s.bound < best {
			best, h.Server = s.bound, s.upstream
		}
	}
	return h, true
}
