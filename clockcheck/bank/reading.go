package bank

import (
	"math"
	"math/bits"

	"noonmark/clockcheck/timescale"
)

// Source is who speaks: a receiver, a clock, or all servers of one ancestry.
type Source uint8

const (
	Receiver   Source = iota // the receiver's sentences
	Pulse                    // its pulse
	Clock                    // the hardware clock
	Ear                      // an operator's marks by ear
	Borrowed                 // … by a borrowed clock
	Crowd                    // other stations as the radio heard them
	Station                  // a time-signal station as the radio heard it
	Before                   // what an earlier run of the program knew
	Server                   // the first of MaxServers families of servers
	MaxServers = 8           // as package clockcheck takes
	NumSources = int(Server) + MaxServers
)

// Families are all servers that are heard in this run.
const Families = Set(1<<NumSources-1) &^ (1<<Server - 1)

// Set is a set of sources.
type Set uint32

// SetOf returns the set of these sources.
func SetOf(all ...Source) (s Set) {
	for _, o := range all {
		s |= 1 << o
	}
	return s
}

// Has tells whether o is in the set.
func (s Set) Has(o Source) bool { return s>>o&1 == 1 }

// Any tells whether the sets share a source.
func (s Set) Any(o Set) bool { return s&o != 0 }

// Only tells whether nothing is in s but what is in o.
func (s Set) Only(o Set) bool { return s&^o == 0 }

// first is the source of the least number; the set is not empty.
func (s Set) first() Source { return Source(bits.TrailingZeros32(uint32(s))) }

// Len is how many are in the set.
func (s Set) Len() int { return bits.OnesCount32(uint32(s)) }

// falseOf is the assumption that a source is false.
func falseOf(s Source) Assumption {
	switch {
	case s == Receiver:
		return ReceiverFalse
	case s == Pulse:
		return PulseFalse
	case s == Clock || s == Before:
		return ClockSet
	case s == Ear || s == Borrowed:
		return MarkFalse
	case s == Crowd || s == Station:
		return AirFalse
	}
	return ServerFalse
}

// Reading is what a source says of UTC − local timescale at an instant.
type Reading struct {
	Source Source
	At     timescale.Local
	Z      int64   // ns: UTC − local by its word; of Clock: hardware clock − local
	Var    float64 // s²: variance of this reading's own error, another at each reading
	Common float64 // s: σ of the error that all its readings share
	Repeat float64 // of Crowd: its own error is that of the reading before in part, so that Var counts so many times; 0 = once
	Modulo float64 // s: Z is known but for multiples of it; 0 = wholly
	Dated  bool    // its word includes the day
	From   Set     // whom it has its word from, if not from itself (a clock that was set by …)
	Stream Stream  // of Receiver only
}

// roots is whom the reading has its word from.
func (r *Reading) roots() Set {
	if r.From != 0 {
		return r.From
	}
	return SetOf(r.Source)
}

// sigma is that of the reading's whole error, s.
func (r *Reading) sigma() float64 { return math.Sqrt(r.Common*r.Common + r.Var) }

// Stream is what is known of a receiver's sentences besides their time.
type Stream struct {
	LeadMost int     // it may lead UTC by so many whole seconds, 0 to 18
	Missing  float64 // probability that it does, where nothing else is known
	LateMost float64 // s: its sentences are at most so late
}
