package service

import (
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/keep"
)

// save keeps what was learned, if there is somewhere to keep it.
func (s *service) save(now timescale.Local) {
	s.saving.Saved(now)
	if s.stateDir == "" {
		return
	}
	s.kept.Learned, s.kept.Place = s.station.Learned(), s.station.LastPlace()
	if s.clock != nil {
		s.kept.Steering = s.station.LearnedSteering()
	}
	err := keep.Save(s.stateDir, s.kept)
	if err != nil {
		s.saving.Failed(now) // somebody may make room soon
	}
	s.notKept(err)
}
