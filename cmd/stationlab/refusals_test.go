package main

import (
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/lab"
)

// A receiver alone: what its unproved lateness leaves open refuses. Each second is counted
// once.
func TestRefusals(t *testing.T) {
	c, err := lab.Read("../../testdata/scenarios/first-night.scenario")
	if err != nil {
		t.Fatal(err)
	}
	c.Modes, c.Length, c.SystemError = nil, 30*time.Minute, 0
	for _, n := range []string{"FT8", "FT4"} {
		m, err := clockcheck.ModeNamed(n)
		if err != nil {
			t.Fatal(err)
		}
		c.Modes = append(c.Modes, m)
	}
	refused, late := map[string]int{}, 0
	played, sum := tellRefusals(c, 1)
	for k, c := range sum {
		refused[k.mode] += c.s
		if strings.Contains(k.what, "lateness unproved") {
			late += c.s
		}
	}
	for i, m := range played.Modes {
		if got := m.Within + refused[m.Mode]; got != 30*60 {
			t.Errorf("%s: %d s within and %d s refused, of %d s (mode %d)", m.Mode, m.Within, refused[m.Mode], 30*60, i)
		}
	}
	if late < 40*60 {
		t.Errorf("%d s are refused for the lateness, summed over two modes", late)
	}
}
