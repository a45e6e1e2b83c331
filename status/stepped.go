package status

import "time"

// SteppedAgo is how long ago the system clock was stepped last, by this program or by
// another, as far as the events still listed go; ok is false where none of them is a step.
func (s *Snapshot) SteppedAgo() (ago time.Duration, ok bool) {
	now := s.Written.SystemUTC.V
	if s.Clock.ErrorS.OK {
		now = now.Add(-time.Duration(s.Clock.ErrorS.V * 1e9))
	}
	for _, e := range s.Events {
		if (e.Kind == "stepped" || e.Kind == "clock-stepped") && e.UTC.OK {
			ago, ok = max(now.Sub(e.UTC.V), 0), true
		}
	}
	return ago, ok
}
