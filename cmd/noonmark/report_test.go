package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/places"
	"noonmark/status"
)

// atCamp makes a status one of the salt-flat camp, in the first minutes of a day of
// 2031: the system clock is off by as much.
func atCamp(s *status.Snapshot) {
	then := timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 20, 0, time.UTC))
	s.Clock.ErrorS = status.Known(s.Written.SystemUTC.V.Sub(then).Seconds())
	s.Position = &status.Position{Locator: "FG69gu18et", LatDeg: status.Known(-20.13), LonDeg: status.Known(-67.49), AltM: status.Known(3656),
		BoundM: status.Known(8.3), Fix: "3d", Satellites: status.Known(11), AgeS: status.Known(0.4), EdgeM: status.Known(2)}
	// The reader's answer must not depend on how long the test was held up.
	s.Written.StaleAfterS = 60
}

func TestReportCommand(t *testing.T) {
	fresh, simulated, nowhere, empty := t.TempDir(), t.TempDir(), t.TempDir(), t.TempDir()
	keepPublished(t, fresh, atCamp)
	keepPublished(t, simulated, func(s *status.Snapshot) { atCamp(s); s.Live = false })
	keepPublished(t, nowhere, nil)
	file := func(name, text string) string {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	settings := file("n.toml", "[report]\nplace = 'FG69oc'\nname = 'Pump'\n")
	halfSettings := file("half.toml", "[report]\nname = 'Pump'\n")
	template := file("t.txt", "AT {{.Locator}}\nWELL\n")
	for _, row := range []struct {
		name   string
		dir    string
		args   string
		code   int
		out    string // all of it; "…" = not looked at
		errOut string // part of it
	}{
		{"nobody publishes", empty, "", exit.Cannot, "", "noonmark run"},
		{"nowhere", nowhere, "", exit.Cannot, "", "does not know where it is"},
		{"nowhere in distress", nowhere, "--distress", exit.Cannot, "", "does not know where it is"},
		{"does not fit", fresh, "--fit 3", exit.No, "", "the shortest has 4"},
		{"no place", fresh, "--to X=FG6", exit.Misuse, "", "FG6"},
		{"a name and no place", fresh, "--to X=", exit.Misuse, "", `no place is given for "X"`},
		{"a name and no place in the settings", fresh, "--config " + halfSettings, exit.Misuse, "", `no place is given for "Pump"`},
		{"no settings", fresh, "--config " + empty + "/none", exit.Misuse, "", "no such file"},
		{"template that is wrong", fresh, "--template {{.Locatr}}", exit.No, "", "Locatr"},
		{"template that is not there", fresh, "--template @" + empty + "/none", exit.Misuse, "", "no such file"},
		{"template that is too long", fresh, "--fit 10 --template @" + template, exit.No, "", "a template is not shortened"},

		{"template from a file", fresh, "--template @" + template, exit.OK, "AT FG69gu18et\nWELL\n", ""},
		{"by the settings", fresh, "--fit 80 --config " + settings, exit.OK, "WELL 030405Z FG69GU18ET 20.13000S 67.49000W +-10M 112 KM 139T+-4 TO PUMP\n", ""},
		{"the flag wins", fresh, "--fit 80 --config " + settings + " --to -20.46,-66.82", exit.OK, "WELL 030405Z FG69GU18ET 20.13000S 67.49000W +-10M 78.9 KM 118T TO -20.46 -66.82\n", ""},
		{"distress", fresh, "--distress --fit 40", exit.OK, "20.13000S 67.49000W +-10M 030405Z\n", "sends nothing"},
		{"simulated", simulated, "--fit 40", exit.OK, "EXERCISE WELL 030405Z FG69GU18ET\n", "not this station"},
	} {
		t.Run(row.name, func(t *testing.T) {
			args := append([]string{"report", "--run-dir", row.dir}, strings.Fields(row.args)...)
			code, out, errOut := runArgs(args...)
			if code != row.code || row.out != "…" && out != row.out || !strings.Contains(errOut, row.errOut) || row.errOut == "" && errOut != "" {
				t.Errorf("exit %d, want %d\nout %q\nwant %q\nerr %q\nwant %q", code, row.code, out, row.out, errOut, row.errOut)
			}
		})
	}
	code, out, _ := runArgs("report", "--json", "--fit", "40", "--run-dir", fresh)
	var r struct {
		Text     string   `json:"text"`
		UTC      string   `json:"utc"`
		Lat      *float64 `json:"lat_deg"`
		To       *int     `json:"to"`
		Problems []string `json:"problems"`
		Exercise *bool    `json:"exercise"`
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil || code != exit.OK || r.Text != "WELL 030405Z FG69GU18 20.1300S 67.4900W" ||
		!strings.HasPrefix(r.UTC, "2031-02-03T04:05:") || r.Lat == nil || *r.Lat != -20.13 || r.To != nil || r.Problems == nil || r.Exercise == nil {
		t.Errorf("exit %d, %v: %s", code, err, out)
	}
}

// The present place is shown as published: its locator, though the place lies a step
// beyond the border, and its age.
func TestGridOfThePresentPlace(t *testing.T) {
	dir := t.TempDir()
	keepPublished(t, dir, func(s *status.Snapshot) {
		atCamp(s)
		s.Position.Locator = "FG69gu18ds" // west of the square that the coordinates lie in
		s.Position.Moving = true
	})
	code, out, errOut := runArgs("grid", "--run-dir", dir)
	if code != exit.OK || !strings.Contains(out, "Locator  FG69gu18ds\n") || !strings.Contains(out, "Fix      0.4 s ago, ± 9 m (99 %), moving\n") {
		t.Errorf("exit %d\n%s%s", code, out, errOut)
	}
	for length, want := range map[string]string{"6": "FG69gu", "2": "FG"} {
		if _, out, _ := runArgs("grid", "--length", length, "--run-dir", dir); !strings.Contains(out, "Locator  "+want+"\n") {
			t.Errorf("--length %s:\n%s", length, out)
		}
	}
	_, out, _ = runArgs("grid", "--json", "--run-dir", dir)
	var r places.PlaceReport
	if err := json.Unmarshal([]byte(out), &r); err != nil || r.Fix == nil || r.Fix.AgeS.V != 0.4 || r.Fix.BoundM.V != 8.3 || !r.Fix.Moving || r.Fix.Kept {
		t.Errorf("%v: %s", err, out)
	}
}
