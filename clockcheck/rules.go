package clockcheck

import "strings"

// Rules is a set of the judge's rules. The service leaves all in force; the
// laboratory takes one away to show what it is there for.
type Rules uint32

// The rules, in the order of a reading's way. Each is stated with its reason and
// source where it is applied.
const (
	RuleFloor       Rules = 1 << iota // no true date lies before the build
	RuleRollover                      // a date 1024 weeks early is repaired
	RuleSimulated                     // a receiver in simulator mode is not believed
	RuleValid                         // a reading without a valid fix is not believed
	RuleRepeated                      // the same instant again is no evidence
	RuleOverrun                       // a line that is too slow is no evidence
	RuleSecond                        // a lone receiver's whole second is open until proved
	RuleLeapStep                      // a step back by whole seconds is leap data coming in
	RuleLatency                       // an unproved latency has the range of all receivers
	RuleJump                          // an oscillator cannot jump
	RuleLatencyJump                   // a latency can
	RuleDrag                          // an oscillator cannot be led away
	RuleRamp                          // a stream that ramps has a soft latency
	RuleAncestry                      // agreement counts only between disjoint ancestries
	RuleDispute                       // an open disagreement widens the guard
	RuleVote                          // the largest agreeing set wins
	RuleRTCSet                        // a hardware clock that moved was set
	RuleOffGrowth                     // a hardware clock's rate changes over a power-off
	RuleServerFloor                   // a server's error does not average down
	RuleHold                          // a verdict rises after its margin has held
	RuleSegment                       // sleep ends what was known of the local timescale
	RulePulseComb                     // an edge that does not come once a second is spurious
	RulePulseFix                      // a pulse counts while its receiver is believed
	RulePulseNumber                   // one whole second must fit before a pulse is numbered
	RulePulseEdge                     // both edges of a pulse are open until one is told
	RulePulseGate                     // a pulse that jumps is not followed
	RuleTemperature                   // a change of temperature changes the rate
)

var ruleNames = [...]string{"floor", "rollover", "simulated", "valid", "repeated", "overrun", "second", "leap-step", "latency",
	"jump", "latency-jump", "drag", "ramp", "ancestry", "dispute", "vote", "rtc-set", "off-growth", "server-floor", "hold", "segment",
	"pulse-comb", "pulse-fix", "pulse-number", "pulse-edge", "pulse-gate", "temperature"}

// RuleNames lists the rules by name.
func RuleNames() []string { return append([]string(nil), ruleNames[:]...) }

// RuleNamed finds a rule; ok is false if there is none of that name.
func RuleNamed(name string) (r Rules, ok bool) {
	for i, n := range ruleNames {
		if strings.EqualFold(n, name) {
			return 1 << i, true
		}
	}
	return 0, false
}

// on tells whether a rule is in force.
func (j *Judge) on(r Rules) bool { return j.cfg.Without&r == 0 }
