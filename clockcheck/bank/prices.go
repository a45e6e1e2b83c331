package bank

import "math"

// Assumption is one thing an explanation may assume.
type Assumption uint8

// The assumptions, in the order of Prices.
const (
	SecondMissing    Assumption = iota // the receiver leads by whole seconds: no leap-second data yet
	PageMissed                         // … although they were sent
	PageAgain                          // … and sent again after that
	LatenessMoved                      // the sentences come earlier or later than before
	LatenessWanders                    // … and go on moving
	LatenessNew                        // the learned lateness is not that of this receiver
	ReceiverFalse                      // the receiver's time is false since then
	ReceiverWasFalse                   // … was false until then
	ServerFalse                        // a server, or all that share its ancestry
	MarkFalse                          // an operator's mark, a borrowed clock
	AirFalse                           // what the radio heard
	PulseFalse                         // the pulse, or its edge
	ClockSet                           // something set the hardware clock
	WritesScatter                      // the hardware clock takes each of the kernel's writes elsewhere
	OscillatorMoved                    // the computer's oscillator changed its rate
	CrystalTurned                      // … by more than that: it is a tuning fork, and was carried into the cold
	CrystalFar                         // … or was always far off: nobody has known it yet
	FalseMoves                         // what is false already moves besides
	FalseFits                          // what is false says the same as another that is false
	numAssumptions
)

// Price is how often an assumption holds where it may be made.
type Price struct {
	Name   string
	P      float64 // probability, 0 to 1
	Unit   string  // of what
	Source string  // where the figure is from; "assumption" where nobody measured it
}

// Prices is the fault budget of the bank, each row with its source or the word assumption: no
// verdict may depend on their third digit (TestHalfAndDouble).
var Prices = [numAssumptions]Price{
	SecondMissing:    {"whole second missing", 0.3, "cold start", "assumption; 2 cases of 3 s published (Hornaday 2005, TinyGPSPlus issue 30)"},
	PageMissed:       {"leap-second page missed", 0.01, "page of 12.5 min, open sky", "assumption; all satellites send page 18 at the same moment (IS-GPS-200), so a firmware that misses it misses all"},
	PageAgain:        {"next page missed too", 0.1, "page of 12.5 min, after one that was missed", "assumption, 0.03 to 0.3: what made a receiver miss a page of all satellites (a bad sky, a firmware that begins late) lasts"},
	LatenessMoved:    {"lateness moved", 0.05, "12 h", "assumption; single units measured (Piepho 2017: one jumps to a new steady value)"},
	LatenessWanders:  {"lateness wanders", 0.05, "12 h", "assumption; single units measured (Sims 2016, 2017: some ramp)"},
	LatenessNew:      {"another lateness than learned", 1e-3, "start", "assumption: units swapped"},
	ReceiverFalse:    {"receiver false", 2e-3, "12 h", "assumption: geometric mean of a quiet place (1e-4) and a hot region (0.04; Nkom, OPSGROUP: counts in the air)"},
	ReceiverWasFalse: {"receiver was false", 2e-3, "12 h", "as receiver false: a lie that ended"},
	ServerFalse:      {"server false by more than its bound", 0.01, "server and night", "assumption for a chosen server (fortytwo.ch list: 169 watched, SD 37 ms)"},
	MarkFalse:        {"mark false", 0.01, "mark", "assumption from entry slips 0.01 (Beamex 2021), unseen errors 0.01 (Swain and Guttman 1980)"},
	AirFalse:         {"air false", 1e-3, "night, 20 stations", "assumption from 1,291 signals: 0.084 beyond 1 s, if independent"},
	PulseFalse:       {"pulse false", 1e-3, "12 h", "assumption"},
	ClockSet:         {"hardware clock set or lost", 3e-3, "12 h", "assumption; 3 of 3 boards with old cells lost the time (iiab 657)"},
	WritesScatter:    {"kernel's writes leave the clock anywhere", 0.05, "chip", "assumption: chips whose first second after a write has any length (PCF8563 as Linux writes it)"},
	OscillatorMoved:  {"oscillator moved", 1e-3, "12 h", "assumption, 1e-4 to 1e-2; sudden steps of 1 to 20 ppm (activity dips, Fox tutorial: no incidence)"},
	CrystalTurned:    {"main crystal is a fork in the cold", 3e-3, "12 h", "assumption: 1 computer in 100 counts by a tuning fork, 3 nights in 10 take it through 40 K (−0.034 ppm/K², NXP UM10301)"},
	CrystalFar:       {"main crystal is far off", 0.1, "computer that nobody has known", "assumption, 0.03 to 0.5: parts are sold to ±50 ppm, but of 20,000 hosts half were beyond 78 ppm and some beyond 500 (Mills 2006), with the counters of then"},
	FalseMoves:       {"what is false moves besides", 0.1, "false receiver", "assumption, 0.03 to 0.3: false signals move (STRIKE3, UKMTO: they come and go within hours), a wrong firmware stays as it is"},
	FalseFits:        {"what is false fits by chance", 0.05, "unit of log-error", "derived: errors log-uniform from 10 ms to 10 years, ln(3e10) = 24, two signs; see chance"},
}

// Nats is the price of an assumption in nats: −ln P.
func (b *Bank) Nats(a Assumption) float64 { return b.nats[a] }

// Scale multiplies every probability by factor, at most to likeliest: for the test that no
// verdict depends on the figures.
func (b *Bank) Scale(factor float64) {
	for a := range b.nats {
		b.nats[a] = -math.Log(math.Min(Prices[a].P*factor, likeliest))
	}
}

// Forbid takes an explanation away: for the laboratory, which asks what falls without it.
func (b *Bank) Forbid(a Assumption) { b.forbidden |= 1 << a }

// Named finds an assumption by the name that its price has.
func Named(name string) (Assumption, bool) {
	for a := range Prices {
		if Prices[a].Name == name {
			return Assumption(a), true
		}
	}
	return 0, false
}

func (b *Bank) allowed(a Assumption) bool { return b.forbidden>>a&1 == 0 }

// chance is the price, nats, of an error that lies within ±w of e by chance: where sizes
// are log-uniform over 24 e-folds and both signs are alike, P = 2w/(2·24·e).
func (b *Bank) chance(w, e float64) float64 {
	return b.nats[FalseFits] - math.Log(math.Min(w/math.Max(math.Abs(e), w), 1))
}

// chanceWithin is the same of a source that tells UTC modulo a period only: its error is
// log-uniform from 10 ms to half of that, both signs alike.
func chanceWithin(w, e, modulo float64) float64 {
	efolds := math.Log(math.Max(modulo/2/smallest, math.E))
	return math.Log(efolds) - math.Log(math.Min(w/math.Max(math.Abs(e), w), 1))
}

// Noises of the states, as the guard reckons with them.
const (
	rateWhite = 1e-16 // s²/s: 10 ns·√s, far under any reading here
	// rateRestless, 1/s: √(1e-16 · 1 h) = 0.6 ppm in an hour. A small board measured 0.6 ppm in 8 h at
	// rest; outdoors 1 to 3 K an hour at 0.1 to 1 ppm/K (Lux and Camp 2015).
	rateRestless = 1e-16
	// lateRestless, s²/s: √(2.8e-8 · 1 h) = 10 ms in an hour; receivers measured, 0.3 to 30 ms.
	lateRestless = 2.8e-8
	clockWhite   = 1e-14 // s²/s: 100 ns·√s, as package rtc
)
