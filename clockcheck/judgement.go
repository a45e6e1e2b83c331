package clockcheck

import (
	"time"

	"noonmark/clockcheck/terms"
	"noonmark/clockcheck/timescale"
)

// Config is what the operator and the machine tell the judge at its start.
type Config struct {
	Floor          timescale.UTC // no true date lies before it (build, last known); 0 = believe any date
	Modes          []Mode        // the modes shown, with the tolerances in force
	Latency        time.Duration // the receiver's arrival latency if the operator knows it; 0 = learn it
	RTCCompensated bool          // the RTC is of a temperature-compensated kind
	PPSEdge        Edge          // the pulse's edge that is the second; EdgeUnknown = learn it
}

// The words and the rule of acceptance are everybody's.
type (
	Verdict = terms.Verdict
	Basis   = terms.Basis
)

const (
	Within     = terms.Within // and held for 2 s
	Outside    = terms.Outside
	Borderline = terms.Borderline
	Unknown    = terms.Unknown

	BasisPPS      = terms.BasisPPS
	BasisGNSS     = terms.BasisGNSS
	BasisNetwork  = terms.BasisNetwork
	BasisOperator = terms.BasisOperator
	BasisRTC      = terms.BasisRTC
	BasisHoldover = terms.BasisHoldover
	BasisNone     = terms.BasisNone
)

// ModeJudgement is the verdict for one mode.
type ModeJudgement struct {
	Mode    Mode
	Verdict Verdict
	Margin  float64 // s: tolerance − (|error| + guard); meaningless if Unknown
	GoodFor float64 // s until the growing guard uses the margin up; 0 unless Within
}

// Term is one line of the error budget.
type Term struct {
	Name    string
	GuardS  float64 // s, half-width
	Because string
}

// Judgement is what the judge says at one instant. Error, bound and guard are
// seconds; positive error = the clock is fast.
type Judgement struct {
	At           timescale.Local
	Basis        Basis
	Known        bool    // Error and Bound have a meaning
	Guarded      bool    // Guard too; without it every verdict is Unknown
	Error        float64 // s: system clock − UTC
	Bound        float64 // s: half-width of the 99 % interval
	Guard        float64 // s: half-width that verdicts use, never below Bound
	RatePPM      float64 // the system clock gains so much on UTC at present (negative: loses)
	RateBoundPPM float64 // half-width of the 99 % interval of LocalRatePPM
	// ErrorLo and ErrorHi span what the error may be, s: Error ± Guard, but not the
	// same on both sides. LocalRatePPM: UTC gains so much on the local timescale;
	// always there, if only as what was assumed. All three are for steering.
	ErrorLo, ErrorHi float64
	LocalRatePPM     float64
	SecondIn         float64 // s until waiting alone confirms the whole second; negative where it does not
	Proved           []string
	Ancestry         []string
	Because          string
	Modes            []ModeJudgement
	References       []Reference
	Budget           []Term
	Warmth           Warmth
}

// Trust in a reference.
type Trust = terms.Trust

const (
	Silent  = terms.Silent
	Warming = terms.Warming
	Trusted = terms.Trusted
	Doubted = terms.Doubted
	Faulty  = terms.Faulty
)

// Reference is one reference and what the judge makes of it.
type Reference struct {
	Name    string
	Kind    string // "gnss", "pps", "rtc", "network", "operator"
	Trust   Trust
	State   string  // what is the matter, a stable word; "" = nothing
	Because string  // one sentence, with the remedy where there is one
	HasSaid bool    // Error and Bound have a meaning
	Error   float64 // s: system clock − what the reference says
	Bound   float64 // s: half-width, 99 %
	Age     float64 // s since its last word; negative = never
	Signals int     // of the air: how many signals were heard
}

// Warmth is what is made of the computer's thermometer.
type Warmth struct {
	Sensor  string  // "" = there is none
	C       float64 // °C as last shown
	Learned bool    // the two below have a meaning
	PPMPerC float64 // the oscillator's gain changes so much by 1 °C
	Bound   float64 // of PPMPerC, half-width, 99 %
	Because string  // one sentence
}

// Event is something an operator may want to know of later.
type Event struct {
	At   timescale.Local
	Kind string // a stable word: "started", "proved", "trust-changed", …
	Text string // one sentence
}

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
