// Package gnsstest simulates a satellite receiver in virtual time, with the
// faults of real ones.
//
// In: whole seconds of true UTC, where the antenna is, and the Scene around it.
// Out: Bursts, the bytes of NMEA 0183 sentences with the true instant at which
// each leaves the receiver. The caller turns true instants into those of its own
// oscillator. The same model, seed and calls give the same bytes. One goroutine
// at a time.
package gnsstest

import (
	"cmp"
	"time"

	"noonmark/clockcheck/timescale"
)

// Model says what kind of receiver it is, and which faults it was born with.
// A zero field means the usual (named in brackets) or no fault.
type Model struct {
	Baud      int      // [9600], 8N1: ten bits a character
	RateHz    int      // epochs a second, 1 to 20 [1]; GSV and GSA only with the first
	Talker    string   // [GN], or GP: one constellation
	Sentences []string // in order, of RMC VTG GGA GSA GSV GLL GNS GST ZDA [the first six]
	V41       bool     // NMEA 4.1: navigation status, system and signal ids
	Decimals  int      // of the seconds, 1 to 3 [2]; -1 = whole seconds only
	// Phase puts the epochs this long after the second. Seen: .226, .16, .379 s.
	Phase time.Duration
	// PhasePPM is how fast the phase moves. Seen: from .70 to .60 s within 12 min, 139 ppm.
	PhasePPM float64
	Latency  Latency
	// The burst rests for Pause after PauseAfter sentences. Seen: nine sentences spread over
	// 290 ms at a high speed; chunks 80 to 100 ms apart through a terminal program.
	PauseAfter int
	Pause      time.Duration
	// Unordered is the share of epochs whose sentences come in another order. In 30 of 111
	// recorded files no sentence leads in nine of ten epochs.
	Unordered float64

	// PreviousSecond: sentences describe the epoch a second before (seen in two
	// models; one handbook says so). ZDACurrent: ZDA names the present one all the same.
	PreviousSecond, ZDACurrent bool
	// NextSecond: they name the second to come (one timing module sends its message
	// 53 ms before the second that it names).
	NextSecond bool
	// LeapMissing is how many leap seconds the firmware's count is behind: UTC is
	// that many seconds fast until AlmanacAfter [12.5 min] of unbroken tracking
	// (IS-GPS-200 20.3.3.5.2.4: page 18 is sent once in 12.5 min).
	LeapMissing  int
	AlmanacAfter time.Duration
	// WeekRollovers × 1024 weeks are missing from dates got from satellites,
	// from RolloverFrom on (0 = ever).
	WeekRollovers int
	RolloverFrom  timescale.UTC
	DateLate      bool // at 00:00:00 still the old date

	// Warm: starts, and starts again after losing power, with ephemeris, date and
	// leap seconds kept by its battery. ColdFix [32 s], WarmFix [4 s] and
	// Reacquire [2 s] are times under open sky to a fix (usual data sheet
	// figures, from memory).
	Warm                        bool
	ColdFix, WarmFix, Reacquire time.Duration
	BeforeFix                   BeforeFix
	// Default is where DefaultDate counts from [1980-01-05 23:59:42].
	Default timescale.UTC
	// Own error and rate of the receiver's own clock, before a fix and after
	// losing it; positive = fast.
	OwnError time.Duration
	OwnPPM   float64
	// ValidTooSoon: says valid this long before the fix, with the time of before.
	ValidTooSoon time.Duration
	// Estimates for so long after losing the satellites: mode E, status A.
	Estimates time.Duration
	// EstimatesUnsaid: it estimates with mode A, as receivers before NMEA 2.3 must.
	EstimatesUnsaid bool
	// RepeatsFor so long after losing the satellites it says its last epoch again, valid.
	// Seen: one sentence nine times; one stream of a bus at the same instant for 13 min.
	RepeatsFor time.Duration
	Simulator  bool // mode S, quality 8

	PositionSigmaM float64 // sd of each axis, wandering over minutes [2]
}

// Latency is the delay from the epoch to the first byte.
type Latency struct {
	Mean   time.Duration // [120 ms]
	Jitter time.Duration // sd, skewed late: never earlier than Mean − Jitter
	Wander time.Duration // random walk, sd after an hour
	// Restart is the sd by which the mean is another one after each power-on: some
	// receivers hold one offset for long, then another (an open list of timing amateurs).
	Restart time.Duration
	// A receiver whose reporting is not locked to the second: later by Ramp an
	// hour, back to 0 at RampSpan [1 s].
	Ramp, RampSpan time.Duration
	// Jump is added from JumpAfter after power-on; BimodalBy to a share Bimodal
	// of the epochs.
	Jump, JumpAfter time.Duration
	Bimodal         float64
	BimodalBy       time.Duration
	// PerSatellite is added for each satellite above four: more to compute.
	PerSatellite time.Duration
	// Poor is the mean of what is added to each epoch with fewer than poorSky satellites,
	// exponentially: fixes come late where the sky is bad (common practice, no source).
	Poor time.Duration
}

// poorSky is how many satellites a receiver needs for a fix at its usual pace.
const poorSky = 6

// BeforeFix is what a receiver says before its first fix, always with status V.
type BeforeFix int

// Kinds of behaviour, all seen in captures of real receivers.
const (
	OwnClock    BeforeFix = iota // date and time of its own clock
	NoTime                       // empty fields
	NoDate                       // its own clock's time of day, empty date
	DefaultDate                  // counts from Model.Default at power-on
	WeekZero                     // time of day and weekday right, in the week of 1980-01-06
)

// Place is where the antenna is: degrees, and metres above mean sea level.
type Place struct{ LatDeg, LonDeg, AltM float64 }

// Scene is what one second does to the receiver and its bytes.
type Scene struct {
	Satellites int // in view; fewer than 3 give no fix, as indoors
	// A false signal: its time minus true time, what that grows by each second,
	// and how far it moves the position.
	FalseTime               time.Duration
	FalseDrag               time.Duration
	FalseNorthM, FalseEastM float64
	Unplugged               bool    // no power, no bytes
	Void                    bool    // says that it has no fix (status V), and tracks on
	Blink                   float64 // probability of each epoch to be said void
	Stuck                   bool    // says the last epoch again and again
	Held                    bool    // bytes wait in a pipe and come out together after it
	Corrupt                 float64 // probability of each byte to be damaged or lost
}

// Burst is bytes in one go.
type Burst struct {
	At      timescale.UTC // true instant at which the first byte begins
	PerByte time.Duration // each byte takes this long; 0 = all at once
	Bytes   []byte
}

// Typical is an ordinary module on an ordinary day.
func Typical() Model {
	return Model{
		Warm: true, OwnError: 700 * time.Millisecond, OwnPPM: 5,
		Latency: Latency{Mean: 120 * time.Millisecond, Jitter: 8 * time.Millisecond, Wander: 2 * time.Millisecond},
	}
}

// Limits of Model.RateHz and of the receiver's own output buffer, in bytes: a
// sentence that finds it full is dropped, as receivers do at too low a speed.
const (
	maxRateHz = 20
	txBuffer  = 2048
	maxHeld   = 1 << 16
)

// withDefaults fills in the usual.
func (m Model) withDefaults() Model {
	m.Baud = cmp.Or(m.Baud, 9600)
	m.RateHz = min(max(m.RateHz, 1), maxRateHz)
	m.Talker = cmp.Or(m.Talker, "GN")
	if m.Sentences == nil {
		m.Sentences = []string{"RMC", "VTG", "GGA", "GSA", "GSV", "GLL"}
	}
	m.Decimals = max(cmp.Or(m.Decimals, 2), 0)
	m.AlmanacAfter = cmp.Or(m.AlmanacAfter, 750*time.Second)
	m.ColdFix = cmp.Or(m.ColdFix, 32*time.Second)
	m.WarmFix = cmp.Or(m.WarmFix, 4*time.Second)
	m.Reacquire = cmp.Or(m.Reacquire, 2*time.Second)
	m.Default = cmp.Or(m.Default, timescale.UTCOf(time.Date(1980, 1, 5, 23, 59, 42, 0, time.UTC)))
	m.PositionSigmaM = cmp.Or(m.PositionSigmaM, 2)
	m.Latency.Mean = cmp.Or(m.Latency.Mean, 120*time.Millisecond)
	m.Latency.RampSpan = cmp.Or(m.Latency.RampSpan, time.Second)
	return m
}
