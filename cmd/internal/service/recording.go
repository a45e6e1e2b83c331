package service

import (
	"fmt"
	"path/filepath"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/record"
	"noonmark/cmd/internal/station"
)

// recordFolder is where a record lies that is kept in memory: beside the status.
const recordFolder = "record"

// openRecord begins the record of what reaches the station that is about to be made of cfg.
// Without it the clock is judged all the same.
func (s *service) openRecord(set config.Record, cfg *station.Config) {
	dir := set.Folder
	switch dir {
	case "none":
		return
	case "memory":
		dir = filepath.Join(s.publish.Dir(), recordFolder)
	}
	told := *cfg
	head := func() record.Header {
		h := record.Header{Config: told, Learned: s.kept.Learned, Steering: s.kept.Steering, Place: s.kept.Place}
		if s.station != nil {
			h.Learned, h.Steering, h.Place = s.station.Learned(), s.station.LearnedSteering(), s.station.LastPlace()
		}
		return h
	}
	boot := cfg.BootID
	run := fmt.Sprintf("%.8s-%011d", boot, hostclock.Now().Sub(0).Milliseconds())
	var err error
	if s.record, err = record.OpenFolder(dir, int64(set.MostMB)<<20, run, head); err != nil {
		s.record = nil
		s.warn("record", err.Error()+": nothing is recorded; name another record.folder, or \"none\"")
		return
	}
	cfg.Record = s.record.Put
}

// recorded is called at each tick.
func (s *service) recorded(now timescale.Local) {
	if s.record == nil {
		return
	}
	if err := s.record.Tick(now); err != nil {
		s.warn("record", err.Error()+": nothing more is recorded")
	}
}

func (s *service) closeRecord() {
	if s.record == nil {
		return
	}
	if err := s.record.Close(); err != nil {
		s.warn("record", err.Error())
	}
}
