package reader

import (
	"errors"
	"noonmark/cmd/internal/config"
	"noonmark/status"
	"os"
	"time"
)

// LookEvery is how often until looks: a status comes once a second.
const LookEvery = 500 * time.Millisecond

// Published finds the status to read, and takes the reader's present.
func Published(runDir string) (status.Snapshot, status.Now, error) {
	now, err := status.ReadNow()
	if err != nil {
		return status.Snapshot{}, now, err
	}
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	s, _, err := status.Find(now, env.ReadDirs(runDir)...)
	if errors.Is(err, os.ErrNotExist) {
		err = errors.New("no status is published: start the service: noonmark run")
	}
	return s, now, err
}
