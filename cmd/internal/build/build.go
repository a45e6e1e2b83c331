// Package build tells which build this is, and when it was made.
package build

import (
	"runtime/debug"
	"time"

	"noonmark/clockcheck/timescale"
)

// Version and built are set by the package build (-ldflags -X).
var (
	Version = "development"
	built   = ""
)

// sourceDate is moved on at each release; it is the floor of dates in a build
// that carries no date of its own.
const sourceDate = "2026-11-25T00:00:00Z"

// Date is an instant before which no true date lies: when this program was
// built. It never comes from the clock that is to be judged.
func Date() timescale.UTC {
	for _, text := range []string{built, vcsTime(), sourceDate} {
		if t, err := time.Parse(time.RFC3339, text); err == nil {
			return timescale.UTCOf(t)
		}
	}
	return 0
}

func vcsTime() string {
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.time" {
				return s.Value
			}
		}
	}
	return ""
}
