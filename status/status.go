// Package status is noonmark's outward contract: the Snapshot that every other
// program, page and script reads, its JSON Schema, the files that hold it, and
// the rules by which a reader decides whether it may be believed now.
//
// A Snapshot comes in from the joining package once a second; files come out.
// On the reading side a file comes in and an answer comes out. Nothing here
// reads a clock by itself: Fresh and Ready are given a Now, which only ReadNow
// takes from the kernel. A Publisher belongs to one goroutine; everything else
// may be called from any.
package status

import (
	"encoding/json"

	"noonmark/clockcheck/terms"
	"noonmark/status/plaintext"
)

// SchemaName is the value of Snapshot.Schema that this package writes and reads.
const SchemaName = "noonmark/status/v1"

// Verdicts on a mode; terms says what they mean.
const (
	Within     = string(terms.Within)
	Outside    = string(terms.Outside)
	Borderline = string(terms.Borderline)
	Unknown    = string(terms.Unknown)
)

// Bases: what the present estimate stands on.
const (
	BasisPPS      = string(terms.BasisPPS)
	BasisGNSS     = string(terms.BasisGNSS)
	BasisNetwork  = string(terms.BasisNetwork)
	BasisOperator = string(terms.BasisOperator)
	BasisRTC      = string(terms.BasisRTC)
	BasisHoldover = string(terms.BasisHoldover)
	BasisNone     = string(terms.BasisNone)
)

// Trust in a reference.
const (
	Silent  = string(terms.Silent)
	Warming = string(terms.Warming)
	Trusted = string(terms.Trusted)
	Doubted = string(terms.Doubted)
	Faulty  = string(terms.Faulty)
)

// Steering when the program only watches the clock.
const SteeringObserving = "observing"

// A Snapshot is everything published about one instant, Written. Field names in
// JSON carry their unit; what is not known is null there, never a made-up
// number; lists are never null. Readers ignore fields they do not know.
type Snapshot struct {
	Schema string `json:"schema"` // SchemaName; filled in when empty
	// Live is true only when the clock judged is this machine's own, now: false
	// in a simulation or a replay, and then Ready cannot tell.
	Live       bool        `json:"live"`
	Written    Written     `json:"written"`
	Clock      Clock       `json:"clock"`
	Modes      []Mode      `json:"modes"`
	Position   *Position   `json:"position"` // nil when there was never a fix
	References []Reference `json:"references"`
	Events     []Event     `json:"events"`             // oldest first
	Receiver   *Receiver   `json:"receiver,omitempty"` // nil when none is open
	Sharing    *Sharing    `json:"sharing,omitempty"`  // nil when nothing is shared
	// Advice is the next step for the mode in use, else for the modes shown.
	Advice *Advice `json:"advice,omitempty"`
	// Problems are what noonmark cannot do beside judging; the worst first.
	Problems []Problem `json:"problems,omitempty"`
	// Thermometer is nil when there is none.
	Thermometer *Thermometer `json:"thermometer,omitempty"`
	// Air is what the radio heard, nil when nobody listens.
	Air *Air `json:"air,omitempty"`
	// Mark is the operator's mark that can be taken back, nil when there is none.
	Mark *Mark `json:"mark,omitempty"`
	// TimeService is nil when no other device is told the time.
	TimeService *TimeService `json:"time_service,omitempty"`
}

// Mark is an operator's mark.
type Mark struct {
	Name string `json:"name"`  // as among the references
	AgeS Float  `json:"age_s"` // since it was made
}

// Written says when a snapshot was made, on two clocks read at one instant.
type Written struct {
	SystemUTC   Time    `json:"system_utc"`    // the system clock, right or wrong
	BootID      string  `json:"boot_id"`       // the kernel's name for this boot
	BoottimeS   float64 `json:"boottime_s"`    // CLOCK_BOOTTIME, which nobody steps
	StaleAfterS float64 `json:"stale_after_s"` // older than this is no news; > 0, at most 60
	// AsleepS is the time this boot spent in suspend: CLOCK_BOOTTIME −
	// CLOCK_MONOTONIC. When it has grown, the system clock was refilled from the
	// hardware clock since, in whole seconds on many machines.
	AsleepS Float `json:"asleep_s,omitzero"`
}

// Clock is the judgement of the system clock as of Written.
type Clock struct {
	Basis           string   `json:"basis"`
	ErrorS          Float    `json:"error_s"`                 // system clock − UTC; positive = fast
	BoundS          Float    `json:"bound_s"`                 // half-width of the 99 % interval
	RatePPM         Float    `json:"rate_ppm"`                // the computer's oscillator gains so much on UTC, whatever is done to the clock
	RateBoundPPM    Float    `json:"rate_bound_ppm"`          // half-width of its 99 % interval
	ClockRatePPM    Float    `json:"clock_rate_ppm,omitzero"` // the system clock gains so much at present, corrections under way included
	GuardS          Float    `json:"guard_s"`                 // half-width verdicts use, ≥ bound
	Proved          []string `json:"proved"`                  // of: date, time, second, latency
	Ancestry        []string `json:"ancestry"`                // where the knowledge of UTC came from
	Steering        string   `json:"steering"`
	SteeringBecause string   `json:"steering_because,omitempty"` // one sentence
	Because         string   `json:"because"`                    // one sentence
	// SecondInS is how long it takes until the whole second is confirmed if the receiver
	// goes on as it does; not known where waiting does not confirm it.
	SecondInS Float  `json:"second_in_s,omitzero"`
	Budget    []Term `json:"budget,omitempty"`
}

// Term is one line of the error budget that makes up the guard.
type Term struct {
	Term    string `json:"term"`
	GuardS  Float  `json:"guard_s"`
	Because string `json:"because"`
}

// Mode is the verdict on one timed mode.
type Mode struct {
	Mode         string  `json:"mode"`
	InUse        bool    `json:"in_use,omitempty"` // the mode the operator works now
	PeriodS      float64 `json:"period_s"`
	ToleranceS   float64 `json:"tolerance_s"` // > 0
	Verdict      string  `json:"verdict"`
	MarginS      Float   `json:"margin_s"`       // tolerance − (|error| + guard)
	GoodUntilUTC Time    `json:"good_until_utc"` // if no reading ever came again
	GoodForS     Float   `json:"good_for_s"`     // the same, from Written on
}

// Position is the last known place. Degrees are WGS 84.
type Position struct {
	Locator    string `json:"locator"` // Maidenhead, never finer than the fix supports
	LatDeg     Float  `json:"lat_deg"`
	LonDeg     Float  `json:"lon_deg"`
	AltM       Float  `json:"alt_m"`
	BoundM     Float  `json:"bound_m"` // horizontal, 99 %
	Fix        string `json:"fix"`     // "none", "2d", "3d"…, as of now
	Satellites Float  `json:"satellites"`
	AgeS       Float  `json:"age_s"`  // since the fix the place comes from
	EdgeM      Float  `json:"edge_m"` // to the nearest edge of the locator's cell
	Moving     bool   `json:"moving"`
	// Kept: no fix since the program was started; this is where the station was
	// before, and it may have moved. AgeS is then known only where the clock is.
	Kept bool `json:"kept,omitempty"`
	// AveragedS is how long the fixes were averaged, from the first to the last.
	AveragedS Float `json:"averaged_s,omitzero"`
}

// Reference is something that can tell the time, and what we think of it.
type Reference struct {
	Name  string `json:"name"`
	Kind  string `json:"kind"` // gnss, pps, rtc, network, operator
	Trust string `json:"trust"`
	// State is what is the matter with it, a stable word; "" for nothing.
	State   string `json:"state,omitempty"`
	Because string `json:"because"` // one plain sentence
	ErrorS  Float  `json:"error_s"` // of the system clock, by this reference alone
	BoundS  Float  `json:"bound_s"`
	AgeS    Float  `json:"age_s"` // since its last reading
	// Battery is what a hardware clock's chip says of its backup cell: good, low
	// or empty; "" where it cannot tell.
	Battery string `json:"battery,omitempty"`
}

// Words for a battery.
const (
	BatteryGood  = "good"
	BatteryLow   = "low"
	BatteryEmpty = "empty"
)

// Kinds of problems.
const (
	ProblemNotKept = "not-kept" // what is learned cannot be written
	ProblemHook    = "hook"     // a command of [events] cannot be run
	ProblemPage    = "page"     // the page cannot be served
)

// Problem is something that noonmark cannot do; the judgement stands all the same.
type Problem struct {
	Kind string `json:"kind"`
	Text string `json:"text"` // what and why, and what to do
}

// Event is something that changed.
type Event struct {
	UTC  Time   `json:"utc"`
	Kind string `json:"kind"`
	Text string `json:"text"`
}

// Receiver counts what came from the receiver's port since it was opened.
type Receiver struct {
	Device      string           `json:"device"`
	Identity    string           `json:"identity"`
	Baud        int              `json:"baud"` // 0 where it has no meaning
	Sentences   int64            `json:"sentences"`
	Skipped     map[string]int64 `json:"skipped"` // by reason
	Epochs      int64            `json:"epochs"`
	EpochsValid int64            `json:"epochs_valid"` // valid by its own word
}

// Sharing counts how the receiver's sentences were passed on to other programs
// since the start.
type Sharing struct {
	Readers int64 `json:"readers"` // connected now
	Lines   int64 `json:"lines"`
	Lost    int64 `json:"lost"` // lines that readers were too slow for, added up
}

// Thermometer is the computer's, and what is made of it: its oscillator changes with
// the temperature.
type Thermometer struct {
	Sensor       string `json:"sensor"`
	Celsius      Float  `json:"celsius"`
	PPMPerC      Float  `json:"ppm_per_c"`       // change of the oscillator's gain by 1 °C; null = not learned
	BoundPPMPerC Float  `json:"bound_ppm_per_c"` // half-width of the 99 % interval around it
	Because      string `json:"because"`         // one plain sentence
}

// Air is what the station's own radio told of the time: the band's signals by their
// begin, and time-signal stations.
type Air struct {
	Signals int     `json:"signals"` // of other stations, that agree
	ErrorS  Float   `json:"error_s"` // of the system clock, by them alone
	BoundS  Float   `json:"bound_s"` // half-width of the 99 % interval
	AgeS    Float   `json:"age_s"`   // since they were heard
	Station *string `json:"station"` // the time-signal station heard; nil = none
}

// TimeService counts what other devices asked the time service since the start.
type TimeService struct {
	Answered int64 `json:"answered"` // with the time, or with "not synchronised"
	Limited  int64 `json:"limited"`  // of devices that ask too often: told so, or not answered
	Ignored  int64 `json:"ignored"`  // packets that were no question
	Dropped  int64 `json:"dropped"`  // could not be dated, or the answer not sent
}

// MarshalJSON writes the snapshot with every list present, and what could act on a
// terminal escaped.
func (s Snapshot) MarshalJSON() ([]byte, error) {
	if s.Schema == "" {
		s.Schema = SchemaName
	}
	s.Modes = present(s.Modes)
	s.References = present(s.References)
	s.Events = present(s.Events)
	type plain Snapshot
	b, err := json.Marshal(plain(s))
	return plaintext.Escape(b), err
}

// MarshalJSON writes the clock with every list present.
func (c Clock) MarshalJSON() ([]byte, error) {
	c.Proved = present(c.Proved)
	c.Ancestry = present(c.Ancestry)
	type plain Clock
	return json.Marshal(plain(c))
}

// MarshalJSON writes the receiver with its counts present.
func (r Receiver) MarshalJSON() ([]byte, error) {
	if r.Skipped == nil {
		r.Skipped = map[string]int64{}
	}
	type plain Receiver
	return json.Marshal(plain(r))
}

// present turns a nil list into an empty one: [] in JSON, not null.
func present[T any](l []T) []T {
	if l == nil {
		return []T{}
	}
	return l
}
