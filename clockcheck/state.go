package clockcheck

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
