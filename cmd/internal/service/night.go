package service

import (
	"errors"
	"io/fs"
	"path/filepath"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/hostclock"
	"noonmark/status/page"
	"noonmark/status/safefile"
)

// The page's record of the night is kept in the run directory, which is in memory, so that
// a restart of the program does not lose it.
const (
	nightName  = "night"
	nightEvery = 2 * time.Minute
)

// openNight takes up the record of an earlier run in this boot.
func (s *service) openNight() {
	b, err := safefile.Read(filepath.Join(s.publish.Dir(), nightName), page.MaxNight)
	if errors.Is(err, fs.ErrNotExist) {
		return
	}
	if err == nil {
		err = s.page.Remember(b, hostclock.BootID(), hostclock.BootNow())
	}
	if err != nil {
		s.log.Info("the night so far begins again", "reason", err)
	}
}

// keepNight keeps the record now and then.
func (s *service) keepNight(now timescale.Local) {
	if s.page == nil || now.Sub(s.nightAt) < nightEvery {
		return
	}
	s.nightAt = now
	s.saveNight()
}

func (s *service) saveNight() {
	if s.page == nil {
		return
	}
	if b := s.page.Night(); b != nil {
		if err := safefile.Replace(filepath.Join(s.publish.Dir(), nightName), b, 0o600); err != nil {
			s.warn("the night so far is not kept", err.Error())
		}
	}
}
