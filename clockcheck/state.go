package clockcheck

import (
	"noonmark/clockcheck/timescale"
)

// States of a reference: stable words for what is the matter, beside the sentence for a
// person. "" = nothing is.
const (
	StateAbsent     = "absent"       // none there, or it may not be opened
	StateQuiet      = "quiet"        // there, but nothing is heard
	StateNoFix      = "no-fix"       // the receiver says itself that it has none
	StateSettling   = "settling"     // its first readings are being compared
	StateSecond     = "second-soon"  // the whole second is being confirmed: Judgement.SecondIn
	StateSecondOpen = "second-open"  // only another reference can confirm it
	StateLatency    = "latency-open" // how late it is heard is not confirmed
	StateDisagrees  = "disagrees"    // with another reference, and there is no third
	StateOutvoted   = "outvoted"     // a majority says otherwise

	// Of the receiver.
	StateSimulator   = "simulator"
	StateOverrun     = "overrun"      // its line is too slow for what it sends
	StateNoDate      = "no-date"      // it does not say the day
	StateEarlyDate   = "early-date"   // before the build date
	StateStuck       = "stuck"        // it repeats one instant
	StateScatter     = "scatter"      // its readings agree with nothing
	StateJumped      = "jumped"       // as no clock does
	StateDragged     = "dragged"      // faster than the oscillator can be wrong
	StateLeapMissing = "leap-missing" // it is ahead by whole seconds

	// Of the hardware clock.
	StateWasSet     = "was-set"
	StateStopped    = "stopped"    // it says so itself
	StateUncompared = "uncompared" // nobody has told how far it is off
)

// faultStates are the words for faults.
var faultStates = [...]string{
	fSimulated: StateSimulator, fNotValid: StateNoFix, fOverrun: StateOverrun, fNoDate: StateNoDate, fEarlyDate: StateEarlyDate,
	fStuck: StateStuck, fScatter: StateScatter, fJumped: StateJumped, fDragged: StateDragged, fAhead: StateLeapMissing, fDisagrees: StateDisagrees,
	fWasSet: StateWasSet, fInvalid: StateStopped, fMissing: StateAbsent, fUncompared: StateUncompared,
}

// receiverState is the word for the receiver, in the order of receiverTrust.
func (j *Judge) receiverState(now timescale.Local) string {
	rx := &j.rx
	switch {
	case !rx.present:
		return StateAbsent
	case rx.heard == 0 || now.Sub(rx.heard) > receiverFresh:
		return StateQuiet
	case rx.fault != fNone:
		return faultStates[rx.fault]
	case !rx.attached:
		return StateSettling
	case rx.secProved || j.x.secondProved():
		if rx.latencyBy == "" {
			return StateLatency
		}
		return ""
	case rx.noProof:
		return StateSecondOpen
	}
	return StateSecond
}

// secondIn is how long it takes until the whole second is confirmed if the receiver goes
// on as it does, s; negative where waiting does not do it.
func (j *Judge) secondIn(now timescale.Local) float64 {
	switch j.receiverState(now) {
	case StateSecond, faultStates[fAhead]:
		return max((proofTime - now.Sub(j.rx.since)).Seconds(), 0)
	}
	return -1
}

// serverState is the word for a server.
func serverState(now timescale.Local, s *server) string {
	switch {
	case now.Sub(s.at) > serverFresh:
		return StateQuiet
	case s.agrees:
		return ""
	case s.outvoted:
		return StateOutvoted
	}
	return StateDisagrees
}

// rtcState is the word for the hardware clock.
func (j *Judge) rtcState() string { return faultStates[j.rtc.fault] }
