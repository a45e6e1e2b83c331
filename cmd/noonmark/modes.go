package main

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/config"
)

// modeName gives a mode's name as the table writes it.
func modeName(name string) (string, error) {
	m, err := clockcheck.ModeNamed(name)
	return m.Name, err
}

// modesShown are the modes of the settings with their tolerances; the mode in
// use is always among them.
func modesShown(set config.Config) ([]clockcheck.Mode, error) {
	names := set.Modes.Show
	if set.Modes.InUse != "" {
		names = append([]string{set.Modes.InUse}, names...)
	}
	var out []clockcheck.Mode
	seen := map[string]bool{}
	for _, name := range names {
		m, err := clockcheck.ModeNamed(name)
		if err != nil {
			return nil, err
		}
		if seen[m.Name] {
			continue
		}
		seen[m.Name] = true
		if s, ok := set.Modes.ToleranceS[m.Name]; ok {
			m.Tolerance = time.Duration(s * 1e9)
		}
		out = append(out, m)
	}
	return out, nil
}

// shownModes are the modes shown without any settings.
func shownModes() []clockcheck.Mode {
	out, err := modesShown(config.Default())
	if err != nil {
		panic(err) // the defaults name modes of the table; a test holds them to it
	}
	return out
}
