package settings

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/config"
)

// ModeName gives a mode's name as the table writes it.
func ModeName(name string) (string, error) {
	m, err := clockcheck.ModeNamed(name)
	return m.Name, err
}

// ModesShown are the modes of the settings with their tolerances; the mode in
// use is always among them.
func ModesShown(set config.Config) ([]clockcheck.Mode, error) {
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

// ShownModes are the modes shown without any settings.
func ShownModes() []clockcheck.Mode {
	out, err := ModesShown(config.Default())
	if err != nil {
		panic(err) // the defaults name modes of the table; a test holds them to it
	}
	return out
}
