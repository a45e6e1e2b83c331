package places

import (
	"encoding/json"
	"io"
	"strings"
	"testing"

	"noonmark/cmd/internal/around"
	"noonmark/cmd/internal/cli"
)

func gridText(t *testing.T, c cli.Grid) string {
	t.Helper()
	var out strings.Builder
	if _, err := Grid(c, &out); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func has(t *testing.T, text string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(text, w) {
			t.Errorf("%q is missing:\n%s", w, text)
		}
	}
}

func TestGridSaysWhatIsAround(t *testing.T) {
	around := cli.Around{At: "2026-11-28T12:00Z"}
	text := gridText(t, cli.Grid{Words: []string{"-20.13,-67.49"}, Length: 6, Around: around})
	has(t, text, "Aloud    Foxtrot Golf, six nine, Golf Uniform\n", "Border   553.5 m to the north (000°); beyond it FG69gv\n",
		"Compass  points 9.4° west of true north, ± 1.0°", "Sun      up; sets 22:55, twilight until 23:19, twilight from 09:17, rises 09:41", "(asked at 12:00, to the minute)")
	around.Miles = true
	has(t, gridText(t, cli.Grid{Words: []string{"-20.13,-67.49"}, Length: 6, Neighbours: true, Around: around}), "553.5 m (0.3 miles, 0.3 nautical miles)",
		"Around   FG69fv     FG69gv     FG69hv\n         FG69fu     FG69gu     FG69hu\n         FG69ft     FG69gt     FG69ht\n")
	has(t, gridText(t, cli.Grid{Words: []string{"-20.13,-67.49"}, Around: cli.Around{At: "2030-01-01"}}),
		"Compass  not known on 2030-01-01: the World Magnetic Model built in holds from\n         2020 to the end of 2029\n")
	has(t, gridText(t, cli.Grid{Words: []string{"85.8N 139E"}, Around: around}), "Compass  of no use here", "UTM      polar grid: not offered", "Sun      down, for 24 hours and more")
	if _, err := Grid(cli.Grid{Words: []string{"FG69"}, Around: cli.Around{At: "yesterday"}}, io.Discard); err == nil {
		t.Error("a time that is none was taken")
	}
}

func TestGridJSONAround(t *testing.T) {
	var r struct {
		Aloud      string
		Border     borderReport
		Neighbours map[string]string
		Compass    *around.Compass
		Sun        around.Sun
	}
	text := gridText(t, cli.Grid{Words: []string{"FG69gu18"}, Around: cli.Around{At: "2026-11-28T12:00Z"}, Output: cli.Output{JSON: true}})
	if err := json.Unmarshal([]byte(text), &r); err != nil {
		t.Fatal(err)
	}
	if len(r.Neighbours) != 8 || r.Neighbours["north-east"] != "FG69gu29" || r.Border.Beyond == "" || r.Compass == nil || r.Compass.Use != "good" || !r.Sun.Up || r.Sun.Set == nil || r.Aloud == "" {
		t.Errorf("%+v", r)
	}
	text = gridText(t, cli.Grid{Words: []string{"RR99"}, Around: cli.Around{At: "2031-01-01"}, Output: cli.Output{JSON: true}})
	if err := json.Unmarshal([]byte(text), &r); err != nil || r.Compass != nil {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestPathByCompassAndSun(t *testing.T) {
	path := func(at string, words ...string) string {
		var out strings.Builder
		if _, err := Path(cli.Path{Words: words, Around: cli.Around{At: at, Miles: true}}, nil, &out, io.Discard); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	text := path("2026-11-28T04:00Z", "48,11", "-20.13,-67.49")
	has(t, text, "By compass  heading 051° ± 1.0°, back 244° ± 1.0°; long path 231°, back 064°\n", "Sun         night at the start, night at the end (at 2026-11-28 04:00 UTC)\n",
		"nautical miles)")
	has(t, path("2026-11-28T20:00Z", "48,11", "-20.13,-67.49"), "day at the start, night at the end; day and night meet")
	has(t, path("2026-11-28T20:00Z", "85.8,139", "-20.13,-67.49"), "back of no use (")
	has(t, path("2031-01-01", "48,11", "-20.13,-67.49"), "By compass  not known on 2031-01-01")
	has(t, path("2026-11-28", "20.5,112.6", "FG69gu18"), "By compass  heading any direction, back any direction\n")
}
