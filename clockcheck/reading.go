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
	// Upstream, as far as known, tells which servers are one witness: see sharesAncestry.
	Upstream Upstream
}

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

// latencyMax is the largest arrival latency thought possible while unproved, s.
// Serial: 0.03–0.6 s, and 0.9–1.19 s for models that describe the previous
// second (measured captures and two makers' guides). Relay: 6–10 s was measured
// behind a Wi-Fi multiplexer.
func (l Link) latencyMax() float64 {
	if l == Relay {
		return 10
	}
	return 1.2
}

// steady tells whether how late the bytes come can be learned: what a relay was late
// once says nothing of what it is late now, a second ago included.
func (l Link) steady() bool { return l != Relay }

// wander is the process noise of the latency, s²/s: a relay takes a minute to be as
// late as the prior has it, whatever it was before (assumption).
func (l Link) wander() float64 {
	if l == Relay {
		_, sigma := l.latencyPrior()
		return sigma * sigma / 60
	}
	return qD
}

// latencyPrior is what is assumed of it until it is measured: mean and σ, s.
func (l Link) latencyPrior() (mean, sigma float64) {
	if l == Relay {
		return 1, 3
	}
	return latencyMean, latencySigma
}
