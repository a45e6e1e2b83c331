package reader

import (
	"errors"
	"fmt"
	"strings"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/nearest"
	"noonmark/status"
)

// modeError words a question for a mode that the status does not judge: one that the
// service does not show, a family of modes, or one that does not exist.
func modeError(err error) error {
	var e *status.ModeError
	if !errors.As(err, &e) {
		return exit.Usage(err)
	}
	shown := strings.Join(e.Known, ", ")
	var family []string
	for _, k := range e.Known {
		if of, _, _ := strings.Cut(k, "-"); strings.EqualFold(of, e.Mode) {
			family = append(family, k)
		}
	}
	m, unknown := clockcheck.ModeNamed(e.Mode)
	switch {
	case unknown == nil:
		return exit.Usage(fmt.Errorf("%s is not shown: add it to show in [modes] of the settings. Shown are %s", m.Name, shown))
	case len(family) > 0:
		return exit.Usage(fmt.Errorf("%q is a family of modes: name %s", e.Mode, strings.Join(family, " or ")))
	}
	var all []string
	for _, m := range clockcheck.Modes() {
		all = append(all, m.Name)
	}
	if meant := nearest.Word(e.Mode, all); meant != "" && !strings.Contains(unknown.Error(), "family") {
		return exit.Usage(fmt.Errorf("no mode is called %q; did you mean %q?", e.Mode, meant))
	}
	return exit.Usage(unknown)
}

// exist refuses modes that there are not, where no status can say so.
func exist(names []string) error {
	for _, name := range names {
		if _, err := clockcheck.ModeNamed(name); err != nil {
			return modeError(&status.ModeError{Mode: name})
		}
	}
	return nil
}
