package clockcheck

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// GNSS is one epoch of a receiver: what it said, and when that arrived.
type GNSS struct {
	At         timescale.Local // arrival of the first byte of the burst
	TimeOfDay  time.Duration   // since 00:00 UTC, as the receiver said
	Year       int             // 0 = the receiver gave no date
	Month      int
	Day        int
	Valid      bool // the receiver itself calls the fix valid
	Simulated  bool // the receiver says it is in simulator mode
	LeapSecond bool // the receiver said second 60
	Backlog    bool // waiting in a buffer: no evidence of time
	Repeated   bool // names the same instant as an earlier epoch
	Overrun    bool // the burst fills the line until the next: it comes ever later
	Satellites int  // used; negative = not told
}

// RTC is one reading of the hardware clock, taken on its second's edge.
type RTC struct {
	Edge    timescale.Local // instant at which the second Value began
	Sigma   time.Duration   // standard deviation of Edge
	Value   timescale.UTC   // what the clock said, read as UTC
	Invalid bool            // the chip says it stopped or lost its supply
}

// MaxServers is how many time servers a judge hears; the answers of more are dropped.
const MaxServers = 8

// Network is one answer of a time server.
type Network struct {
	Server string          // address: each is an ancestry of its own
	At     timescale.Local // instant the estimate belongs to
	UTC    timescale.UTC   // the server's UTC at that instant
	Bound  time.Duration   // root distance: half-width that holds if the server is right
	// Upstream, as far as known, tells which servers are one witness: see package server.
	Upstream Upstream
}

// Crowd is the Source of the crowd of stations.
const Crowd = "crowd"

// Air is what the radio's sound told of UTC: the crowd of other stations' signals in one
// period, or a time-signal station. All of them share the delays of sound, filter and
// way, which Bound must hold: they do not average below it.
type Air struct {
	Source  string          // Crowd, or the station's name
	At      timescale.Local // the instant
	UTC     timescale.UTC   // … and what UTC it was
	Modulo  time.Duration   // UTC is known but for multiples of this; 0 = wholly
	Bound   time.Duration   // half-width at 99 %, all delays included
	Common  time.Duration   // … of which so much is the same in all readings of the source; 0 = not told
	Signals int             // of how many signals
}

// Link says how a receiver's bytes come, for that sets how late they may be.
type Link int

const (
	Serial Link = iota // UART or USB: a burst starts 0 to 1.2 s after its second
	Relay              // network or multiplexer: seconds late was measured
)

// Upstream is a server's place in the network of servers (RFC 5905 section 7.3).
type Upstream struct {
	ID      [4]byte // reference id of those who follow it; zero = not known
	Port    int     // where it was asked; another than 123 may be another machine
	Follows [4]byte // its own reference id, as it says
	Stratum int     // 0 = not known
	Leap    int     // 0 none, 1 a second is inserted at the end of the month, 2 left out
}
