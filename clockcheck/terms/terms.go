// Package terms holds what the judge, the published status and the screens say alike:
// the words for verdict, basis and trust, and the rule by which a verdict is given. It
// imports nothing of ours, so that everyone may import it.
package terms

import "math"

// Verdict is the answer for one mode.
type Verdict string

const (
	Within     Verdict = "within"     // |error| + guard ≤ tolerance
	Outside    Verdict = "outside"    // |error| − guard > tolerance
	Borderline Verdict = "borderline" // in between
	Unknown    Verdict = "unknown"    // no basis at all
)

// Accept gives the verdict by guarded acceptance (JCGM 106:2012, 8.3), and the margin that
// is left, tolerance − (|error| + guard). All are seconds; guard and tolerance are
// positive. What is no number is never Within.
func Accept(err, guard, tolerance float64) (v Verdict, margin float64) {
	margin = tolerance - (math.Abs(err) + guard)
	switch {
	case margin >= 0:
		return Within, margin
	case math.Abs(err)-guard > tolerance:
		return Outside, margin
	}
	return Borderline, margin
}

// Basis is what the estimate stands on.
type Basis string

const (
	BasisPPS      Basis = "pps"
	BasisGNSS     Basis = "gnss"
	BasisNetwork  Basis = "network"
	BasisOperator Basis = "operator"
	BasisRTC      Basis = "rtc"
	BasisHoldover Basis = "holdover"
	BasisNone     Basis = "none"
)

// Trust is how far a reference is believed.
type Trust string

const (
	Silent  Trust = "silent"  // nothing heard
	Warming Trust = "warming" // heard, not yet to be relied on
	Trusted Trust = "trusted"
	Doubted Trust = "doubted" // disagrees with better evidence
	Faulty  Trust = "faulty"  // says so itself, or shows a known fault
)
