package status

import (
	"maps"
	"slices"
)

// Clone returns a copy that shares nothing with s.
func (s *Snapshot) Clone() Snapshot {
	c := *s
	c.Clock.Proved = slices.Clone(s.Clock.Proved)
	c.Clock.Ancestry = slices.Clone(s.Clock.Ancestry)
	c.Clock.Budget = slices.Clone(s.Clock.Budget)
	c.Modes = slices.Clone(s.Modes)
	c.References = slices.Clone(s.References)
	c.Events = slices.Clone(s.Events)
	c.Problems = slices.Clone(s.Problems)
	if s.Advice != nil {
		a := *s.Advice
		c.Advice = &a
	}
	if s.Position != nil {
		p := *s.Position
		c.Position = &p
	}
	if s.Receiver != nil {
		r := *s.Receiver
		r.Skipped = maps.Clone(s.Receiver.Skipped)
		c.Receiver = &r
	}
	if s.Sharing != nil {
		h := *s.Sharing
		c.Sharing = &h
	}
	if s.Thermometer != nil {
		t := *s.Thermometer
		c.Thermometer = &t
	}
	if s.Air != nil {
		a := *s.Air
		if a.Station != nil {
			name := *a.Station
			a.Station = &name
		}
		c.Air = &a
	}
	if s.Mark != nil {
		m := *s.Mark
		c.Mark = &m
	}
	if s.TimeService != nil {
		a := *s.TimeService
		c.TimeService = &a
	}
	return c
}
