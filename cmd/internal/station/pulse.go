package station

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// Pulse takes one edge of the receiver's pulse: when it came, which of its two edges
// it is, and the standard deviation of that instant.
func (s *Station) Pulse(at timescale.Local, edge clockcheck.Edge, sigma time.Duration) {
	s.judge.PPS(&clockcheck.PPS{At: at, Edge: edge, Sigma: sigma})
}

// PulseMissing says that no pulse is to be had, and why.
func (s *Station) PulseMissing(why string) { s.judge.PPSMissing(sentence(why)) }

// Mark takes an operator's mark; it reports whether the mark could be placed (see
// clockcheck.Judge.Mark).
func (s *Station) Mark(m clockcheck.Mark) bool { return s.judge.Mark(&m) }
