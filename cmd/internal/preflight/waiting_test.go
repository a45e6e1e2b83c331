package preflight

import (
	"errors"
	"strings"
	"testing"
)

// A waiting unit that failed is a problem and is named; one that waited in vain is none;
// where there is no service manager nothing is said.
func TestWaitingUnits(t *testing.T) {
	for _, c := range []struct {
		name  string
		units map[string]Unit
		err   error
		state State
		text  string // "" = no finding
	}{
		{"both work", map[string]Unit{"noonmark-time-set.service": {true, false, "success"}, "noonmark-time-sync.service": {true, false, "success"}}, nil, Good, "work"},
		{"one failed", map[string]Unit{"noonmark-time-set.service": {true, true, "exit-code"}, "noonmark-time-sync.service": {true, false, "success"}}, nil, Problem, "noonmark-time-set.service failed (exit-code)"},
		{"the other", map[string]Unit{"noonmark-time-sync.service": {true, true, "timeout"}}, nil, Problem, "time-sync.target was not kept"},
		{"not installed", map[string]Unit{}, nil, Good, ""},
		{"no answer", nil, errors.New("connection refused"), Good, ""},
	} {
		h := Host{Unit: func(name string) (Unit, error) { return c.units[name], c.err }}
		got := h.waitingUnits()
		if len(got) == 0 && c.text == "" {
			continue
		}
		if len(got) != 1 || got[0].State != c.state || !strings.Contains(got[0].Text, c.text) {
			t.Errorf("%s: %+v", c.name, got)
		}
		if got[0].State == Problem && got[0].Remedy == "" {
			t.Errorf("%s: no remedy", c.name)
		}
	}
	if got := (&Host{}).waitingUnits(); got != nil {
		t.Errorf("without a service manager: %+v", got)
	}
}
