package service

import (
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/keep"
)

// Memory cards wear, so what was learned is saved rarely; but an evening may be short,
// and end with the battery's.
const (
	saveFirst = 5 * time.Minute // after the start
	saveEvery = time.Hour
	// So often at most, in one run, something is saved at once, lest another program
	// that sets the hardware clock again and again wear the card.
	saveUrgent = 50
)

// saveDue tells whether it is time to save; it is asked from the start on.
func (s *service) saveDue(now timescale.Local) bool {
	if s.saved == 0 {
		s.saved = now.Add(saveFirst - saveEvery)
	}
	if s.station.Urgent() && s.urgent < saveUrgent {
		s.urgent++
		return true
	}
	return now.Sub(s.saved) >= saveEvery
}

// save keeps what was learned, if there is somewhere to keep it.
func (s *service) save(now timescale.Local) {
	s.saved = now
	if s.stateDir == "" {
		return
	}
	s.kept.Learned, s.kept.Place = s.station.Learned(), s.station.LastPlace()
	if s.clock != nil {
		s.kept.Steering = s.station.LearnedSteering()
	}
	err := keep.Save(s.stateDir, s.kept)
	if err != nil {
		s.saved = now.Add(saveFirst - saveEvery) // somebody may make room soon
	}
	s.notKept(err)
}
