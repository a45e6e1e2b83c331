package reader

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/unix"

	"noonmark/cmd/internal/config"
	"noonmark/status"
)

// LookEvery is how often until looks: a status comes once a second.
const LookEvery = 500 * time.Millisecond

// errNone: no service runs here, or its first second has not passed.
var errNone = errors.New("no status is published")

// start is the advice where no service runs: how this computer starts it.
func start() status.Advice {
	a := status.Refusal("").Advice
	a.Text = "Start noonmark: " + config.Environment{Getenv: os.Getenv}.StartCommand() + "."
	return a
}

// Published finds the status to read, and takes the reader's present.
func Published(runDir string) (status.Snapshot, status.Now, error) {
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	found, err := status.Find(env.ReadDirs(runDir)...)
	s, now := found.Status, found.Now
	if errors.Is(err, os.ErrNotExist) {
		err = fmt.Errorf("%w: start the service: %s", errNone, env.StartCommand())
	}
	if err != nil {
		return s, now, err
	}
	dir := filepath.Dir(found.Path)
	if !status.Fresh(s, now).OK && full(dir) {
		return s, now, fmt.Errorf("%s is full, so that noonmark cannot publish: make room there", dir)
	}
	if s.Live {
		s = s.With(status.OtherProblems(dir))
	}
	return s, now, nil
}

// full tells whether a file system has no room for a status, bytes.
func full(dir string) bool {
	const room = 16 << 10
	var fs unix.Statfs_t
	return unix.Statfs(dir, &fs) == nil && int64(fs.Bavail)*int64(fs.Bsize) < room
}
