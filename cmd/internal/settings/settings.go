// Package settings puts the settings in force together: the file's, overridden by
// flags, and the modes that they name.
package settings

import (
	"errors"
	"io/fs"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/exit"
)

// Load reads the file named, or the one at its usual place, if it is there.
func Load(named string) (config.Config, error) {
	path := named
	if path == "" {
		path = config.Path
	}
	set, err := config.Load(path, ModeName)
	if errors.Is(err, fs.ErrNotExist) && named == "" {
		err = nil // no file: the defaults are right for a newcomer
	}
	if err != nil {
		return set, exit.Usage(err)
	}
	return set, nil
}

// ForRun are the file's, overridden by flags.
func ForRun(c cli.Run) (config.Config, error) {
	set, err := Load(c.Config)
	if err != nil {
		return set, err
	}
	for _, o := range []struct {
		given bool
		key   string
		value any
	}{
		{c.Device != "", "receiver.device", c.Device},
		{c.Baud != nil, "receiver.baud", int64(deref(c.Baud))},
		{c.Latency != 0, "receiver.latency_s", c.Latency},
		{c.RTC != "", "rtc.device", c.RTC},
		{c.Mode != "", "modes.in_use", c.Mode},
		{c.Steer != nil, "clock.steer", c.Steer != nil && *c.Steer},
	} {
		if o.given {
			if err := set.Set(o.key, o.value, ModeName); err != nil {
				return set, exit.Usage(err)
			}
		}
	}
	if len(c.Server) > 0 {
		set.Network.Servers = c.Server
	}
	return set, nil
}

func deref(p *int) int {
	if p == nil {
		return 0
	}
	return *p
}
