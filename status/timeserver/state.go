package timeserver

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// MaxGuard is the widest guard with which time is served: RFC 5905's MAXDIST, at
// which a client stops using a server.
const MaxGuard = time.Second

// staleAfter is how long a State is good for. The owner publishes one a second.
const staleAfter = 5 * time.Second

// State is the judged time and what may be said of it. It must not be changed
// once published.
type State struct {
	// Trusted is false where the judge cannot vouch for UTC at all.
	Trusted bool
	// UTC is the estimate at the instant At.
	At  timescale.Local
	UTC timescale.UTC
	// RatePPM is how much UTC gains on the local timescale.
	RatePPM float64
	// Guard is the half-width of what is possible at At, and GuardPPM how fast it
	// grows while no reading comes.
	Guard    time.Duration
	GuardPPM float64
	// Leap is 1 when a second is inserted at the end of this day, 2 when one is left
	// out, else 0 (RFC 5905 figure 9).
	Leap uint8
	// Stratum is 1 to 15, RefID what RFC 5905 section 7.3 has for it.
	Stratum uint8
	RefID   [4]byte
	// Reference is when the time was last confirmed by a reference.
	Reference timescale.UTC
}

// at is the judged time at an instant.
func (s *State) at(l timescale.Local) timescale.UTC {
	passed := int64(l - s.At)
	return s.UTC + timescale.UTC(passed+int64(float64(passed)*s.RatePPM*1e-6))
}

// guard is the half-width at an instant.
func (s *State) guard(l timescale.Local) time.Duration {
	return s.Guard + time.Duration(math.Abs(float64(l-s.At))*s.GuardPPM*1e-6)
}

// usable tells whether time may be served at an instant.
func (s *State) usable(l timescale.Local) bool {
	if s == nil || !s.Trusted || s.Leap > 2 || s.Stratum < 1 || s.Stratum > 15 || s.Guard < 0 {
		return false
	}
	age := l.Sub(s.At)
	return age > -staleAfter && age < staleAfter && s.guard(l) <= MaxGuard
}
