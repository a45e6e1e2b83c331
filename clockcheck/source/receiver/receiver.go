// Package receiver admits the epochs of a GNSS receiver as evidence of time: it refuses
// what says itself that it is none, dates it, and condenses what is left into looks, the
// mean of some seconds each, which the bank hears.
//
// A receiver makes four claims: the date, the time of day, the whole second, and (by
// sending now) how late it is. Here only the first two are checked; the others are for
// the bank. A value machine, for one goroutine.
package receiver

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// Fault is why an epoch is no evidence.
type Fault int

const (
	None      Fault = iota
	Simulated       // it says that it is a simulator
	NotValid        // status V
	Overrun         // it sends more than its line carries
	NoDate          // valid, but no date and nobody to ask
	EarlyDate       // before the build date, and no repair fits
	Stuck           // the same instant again and again
	Scatter         // epochs that agree with nothing
)

// Look is what some seconds of the stream say together.
type Look struct {
	At    timescale.Local
	Z     int64   // UTC − local as said, ns
	Var   float64 // s²: of the mean
	Dated bool
}

// Receiver follows one receiver. Make one with Opened.
type Receiver struct {
	Present    bool
	Why        string // when not present: the port's reason
	Link       clockcheck.Link
	Key        string
	Fault      Fault
	Weeks      int             // of week rollover repaired
	Heard      timescale.Local // last epoch
	Valid      timescale.Local // last valid epoch
	Since      timescale.Local // start of the unbroken run of valid epochs
	Leap60     timescale.Local // when it last said second 60
	Satellites int
	Last       Look                     // the last that was passed on; At 0 = none
	Starts     clockcheck.LearnedStarts // what its earlier cold starts told

	opened   timescale.Local
	cold     bool
	run      int
	repeats  int
	overruns int
	late     [runLeast]int64 // UTC − local as said, ns, by the last epochs that were overrun, the newest first
	lates    int             // of them, in a row
	least    int             // fewest satellites since the last page
	paged    timescale.Local
	jitter   float64 // s², of one epoch
	seen     float64 // s²: … but begun at nothing, so that it is not larger for strays from the first looks on
	sum      look
	other    look    // epochs in a row that are of another place
	strays   float64 // share of the epochs that were and did not stay there
	epochs   int     // of which that is the share
	spread   float64 // s², mean square of how far epochs are off their look, strays included
	spreadOf int     // of so many epochs
}

// Opened is a receiver whose port has just been opened.
func Opened(link clockcheck.Link) Receiver {
	return Receiver{Present: true, Link: link, jitter: jitterStart * jitterStart, least: math.MaxInt}
}

// Lost says that the port is gone, and why.
func (r *Receiver) Lost(why string) { *r = Receiver{Why: why, Link: r.Link} }

// LateMost is the largest lateness thought possible, s.
func (r *Receiver) LateMost() float64 {
	if r.Link == clockcheck.Relay {
		return lateRelay
	}
	return lateSerial
}

// Steady tells whether how late it was at one time says anything of another: over a relay
// bytes may wait for seconds.
func (r *Receiver) Steady() bool { return r.Link != clockcheck.Relay }

// LatePrior is what is assumed of it until it is measured: mean and σ, s.
func (r *Receiver) LatePrior() (mean, sigma float64) {
	if r.Link == clockcheck.Relay {
		return priorRelay, priorRelaySigma
	}
	return priorSerial, priorSerialSigma
}

// Missing is the chance that its leap-second data are missing when it is first believed:
// that of any receiver, and what its own cold starts told. Some units lead after a cold
// start until the data come, again and again, for that is their firmware; most never do.
func (r *Receiver) Missing() float64 {
	p := missingWarm
	if r.cold {
		p = missingCold
	}
	return p * leader(r.Starts.Right, r.Starts.Led) / leaders
}

// leader is how likely it is that a unit leads at cold starts, after so many at which it did
// not: Bayes' rule, with another unit under the same name besides.
func leader(right int, led bool) float64 {
	if led {
		return 1
	}
	never := leaders * math.Pow(1-leadsAgain, float64(right))
	p := never / (never + 1 - leaders)
	return p + (leaders-p)*swapped
}

// Cold tells whether it was started cold, as far as can be seen from here.
func (r *Receiver) Cold() bool { return r.cold }

// Began is when its first epoch came since it was opened, 0 = none has.
func (r *Receiver) Began() timescale.Local { return r.opened }

// Jitter is the σ of one epoch's arrival, s.
func (r *Receiver) Jitter() float64 { return math.Sqrt(r.jitter) }

// Day supplies the day to a receiver that tells a time of day only: UTC at an instant, as
// far as others know it.
type Day func(at timescale.Local) (timescale.UTC, bool)

// Take admits an epoch. It returns a look where one is complete.
func (r *Receiver) Take(e *clockcheck.GNSS, floor timescale.UTC, day Day) (l Look, ok bool) {
	if !r.Present || e.Backlog {
		r.lates = 0
		return l, false
	}
	r.Heard = e.At
	if r.opened == 0 {
		r.opened = e.At
	}
	if !r.sound(e) {
		r.keepLate(e, floor)
		return l, false
	}
	r.lates = 0
	utc, dated, ok := r.dated(e, floor, day)
	if !ok {
		return l, false
	}
	r.repeats, r.Satellites = 0, e.Satellites
	if e.Satellites >= 0 {
		r.least = min(r.least, e.Satellites)
	}
	if r.run == 0 || e.At.Sub(r.Valid) > gap {
		r.Since, r.paged, r.run, r.sum, r.other = e.At, e.At, 0, look{}, look{}
	}
	r.Valid = e.At
	r.run++
	if l, ok = r.gather(e.At, int64(utc)-int64(e.At), dated); ok {
		r.Last = l
	}
	return l, ok
}

// sound refuses an epoch that is no evidence.
func (r *Receiver) sound(e *clockcheck.GNSS) bool {
	switch {
	case e.Simulated:
		r.ails(Simulated)
	case e.LeapSecond:
		r.Leap60, r.Valid = e.At, e.At
	case e.Repeated:
		if r.repeats++; r.repeats > stuck {
			r.ails(Stuck)
		}
	case r.overran(e.Overrun):
		r.ails(Overrun)
	case !e.Valid:
		r.cold = r.cold || e.At.Sub(r.opened) > coldAfter && r.Valid == 0
		r.ails(NotValid)
	default:
		return true
	}
	return false
}

// ails says that the stream is no evidence now, and why.
func (r *Receiver) ails(f Fault) { r.Fault, r.run = f, 0 }

func (r *Receiver) overran(now bool) bool {
	if now {
		r.overruns = min(r.overruns+1, overrunMost)
		return true
	}
	r.overruns = max(r.overruns-1, 0)
	return r.overruns > overrunHabit
}

// NextPage is how long it is until a further page of leap-second data must have come in,
// at now, and from how many satellites at least; false while there is no valid fix.
func (r *Receiver) NextPage(now timescale.Local) (in time.Duration, satellites int, ok bool) {
	if r.run == 0 || now.Sub(r.Valid) > gap {
		return 0, 0, false
	}
	return max(page-now.Sub(r.paged), 0), r.fewest(), true
}

// PageEvery is how often a page of leap-second data must come in.
const PageEvery = page

// fewest is how many satellites at least could send the page under way.
func (r *Receiver) fewest() int {
	if r.least == math.MaxInt {
		return fixNeeds // it does not say
	}
	return r.least
}

// Page tells, once for each 13 min of unbroken validity, that a page of leap-second data
// must have come in, and how many satellites at least could send it.
func (r *Receiver) Page() (satellites int, ok bool) {
	if r.run == 0 || r.Valid.Sub(r.paged) < page {
		return 0, false
	}
	satellites = r.fewest()
	r.paged, r.least = r.Valid, math.MaxInt
	return satellites, true
}
