package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/exit"
	"noonmark/status"
)

// TestExitTable runs commands to each exit status that the manual gives them, and to 2.
func TestExitTable(t *testing.T) {
	good, bad, none, nowhere := t.TempDir(), t.TempDir(), t.TempDir(), t.TempDir()
	here := func(s *status.Snapshot) { // of now, not of atCamp's year
		off := s.Clock.ErrorS
		atCamp(s)
		s.Clock.ErrorS = off
	}
	keepPublished(t, good, here)
	keepPublished(t, bad, func(s *status.Snapshot) { here(s); s.Modes[0].Verdict = status.Borderline })
	keepPublished(t, nowhere, nil)
	file := clitest.EmptyFile(t)
	places := filepath.Join(t.TempDir(), "places")
	if err := os.WriteFile(places, []byte("FG69\nnowhere at all\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	t.Setenv("XDG_RUNTIME_DIR", none)
	capture := firstCapture(t)
	runs := map[string][]string{ // by command and status; {good} and so on are directories
		"run 1":     {"run --config {file} --run-dir {file}/x --rtc none"},
		"demo 0":    {"demo --speed 0 --for 1m"},
		"demo 1":    {"demo --for 1m --run-dir {file}/x"},
		"replay 0":  {"replay " + capture},
		"ready 0":   {"ready --run-dir {good}"},
		"ready 1":   {"ready --run-dir {bad}"},
		"ready 3":   {"ready --run-dir {none}", "ready"},
		"grid 0":    {"grid --run-dir {good}", "grid FG69"},
		"grid 1":    {"grid --track {file}"},
		"grid 3":    {"grid --run-dir {nowhere}", "grid --run-dir {none}"},
		"path 0":    {"path FF46 --run-dir {good}"},
		"path 1":    {"path --list {places} FG69"},
		"path 3":    {"path FF46 --run-dir {nowhere}", "path FF46"},
		"report 0":  {"report --run-dir {good}"},
		"report 1":  {"report --run-dir {good} --fit 2"},
		"report 3":  {"report --run-dir {none}", "report --run-dir {nowhere}"},
		"why 0":     {"why --run-dir {good}", "why --all --run-dir {good}"},
		"why 3":     {"why --run-dir {none}"},
		"mark 0":    {"mark --list"},
		"mark 1":    {"mark --station WWV --beat"},
		"hear 1":    {"hear {file}"},
		"until 0":   {"until --run-dir {good}"},
		"until 1":   {"until --run-dir {none} --limit 100ms"},
		"prepare 1": {"prepare --config {file} --run-dir {none}"},
		"pin 3":     {"pin --run-dir {none}"},
		"follow 0":  {"follow --config {file} --run-dir {none}"},
		"ports 0":   {"ports"},
		"ports 1":   {"ports --probe /dev/null"},
		"version 0": {"version", "--version"},
		"replay 2":  {"replay {none}/nosuch", "replay {file}", "replay"},
		"ready 2":   {"ready FT9", "ready FT9 --run-dir {good}", "ready --frob"},
		"grid 2":    {"grid nowhere at all", "grid --track {none}/nosuch"},
		"path 2":    {"path", "path --list {none}/nosuch"},
		"until 2":   {"until --limit 25h"},
		"mark 2":    {"mark"},
		"report 2":  {"report --to nowhere"},
		"demo 2":    {"demo --scenario nosuch"},
		"run 2":     {"run --config {none}/nosuch"},
		"screen 2":  {"screen"},
		"follow 2":  {"follow --config {none}/nosuch"},
		"prepare 2": {"prepare --frob"},
		"hear 2":    {"hear --mode FT9"},
		"pin 2":     {"pin now"}, "resume 1": {"resume --run-dir {none}"}, "resume 2": {"resume now"},
		"why 2":       {"why now"},
		"ports 2":     {"ports --yes"},
		"preflight 2": {"preflight now"}, "version 2": {"version now"}, "completion 2": {"completion tcsh"}, "completion 0": {"completion bash"},
	}
	fill := strings.NewReplacer("{good}", good, "{bad}", bad, "{none}", none, "{nowhere}", nowhere, "{file}", file, "{places}", places)
	for command, list := range exit.Table {
		for _, m := range append(list, exit.Meaning{Code: exit.Misuse}) {
			key := fmt.Sprintf("%s %d", command, m.Code)
			if len(runs[key]) == 0 && furtherExits[key] == nil {
				t.Errorf("%s: no run", key)
			}
			for _, args := range runs[key] {
				if code, out, errOut := runArgs(strings.Fields(fill.Replace(args))...); code != m.Code {
					t.Errorf("noonmark %s: exit %d, want %d\n%.300s%.300s", args, code, m.Code, out, errOut)
				}
			}
		}
	}
}

func firstCapture(t *testing.T) string {
	side, err := filepath.Glob("../../testdata/nmea/*/*.expect.json")
	if err != nil || len(side) == 0 {
		t.Fatal("no captures")
	}
	return strings.TrimSuffix(side[0], ".expect.json")
}
