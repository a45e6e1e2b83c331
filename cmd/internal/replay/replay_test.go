package replay

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/settings"
	"noonmark/status"
)

// expectation is a capture's side file: what an independent reader (pynmea2) makes
// of the capture. Definitions: packaging/reference/expect.py.
type expectation struct {
	Epochs      uint64   `json:"epochs"`
	EpochsValid uint64   `json:"epochs_valid"`
	FirstUTC    *string  `json:"first_utc"`
	LastUTC     *string  `json:"last_utc"`
	MeanLatDeg  *float64 `json:"mean_lat_deg"`
	MeanLonDeg  *float64 `json:"mean_lon_deg"`
}

// TestReplayCaptures holds every capture, through the whole program, to what an
// independent reader makes of it.
func TestReplayCaptures(t *testing.T) {
	side, err := filepath.Glob("../../../testdata/nmea/*/*.expect.json")
	if err != nil || len(side) < 40 {
		t.Fatalf("%d side files found (%v): the captures are missing", len(side), err)
	}
	schema := compileSchema(t)
	for _, name := range side {
		capture := strings.TrimSuffix(name, ".expect.json")
		t.Run(filepath.Base(capture), func(t *testing.T) {
			t.Parallel()
			var want expectation
			b, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			if err := json.Unmarshal(b, &want); err != nil {
				t.Fatal(err)
			}
			var out bytes.Buffer
			if err := replay(cli.Replay{Files: []string{capture}, Output: cli.Output{JSON: true}}, settings.ShownModes(), &out); err != nil {
				t.Fatal(err)
			}
			checkReplay(t, out.Bytes(), want)
			doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(out.Bytes()))
			if err != nil {
				t.Fatal(err)
			}
			if err := schema.Validate(doc.(map[string]any)["status"]); err != nil {
				t.Errorf("the status breaks its schema: %v", err)
			}
		})
	}
}

func checkReplay(t *testing.T, b []byte, want expectation) {
	t.Helper()
	var got replayReport
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	f := got.Files[0]
	if f.Epochs != want.Epochs || f.EpochsValid != want.EpochsValid {
		t.Errorf("%d epochs, %d valid; the reference reads %d, %d", f.Epochs, f.EpochsValid, want.Epochs, want.EpochsValid)
	}
	sameTime := func(what string, got, want *string) {
		if text(got) != text(want) {
			t.Errorf("%s %s; the reference reads %s", what, text(got), text(want))
		}
	}
	sameTime("first", f.FirstUTC, want.FirstUTC)
	sameTime("last", f.LastUTC, want.LastUTC)
	near := func(what string, got, want *float64) {
		if (got == nil) != (want == nil) || got != nil && math.Abs(*got-*want) > 2e-7 {
			t.Errorf("mean %s differs: %v, %v", what, got, want)
		}
	}
	if strings.Contains(f.Path, "pygpsdata-nmea4") {
		return // put together by hand from two talkers 100° apart: no mean is right
	}
	near("latitude", f.MeanLatDeg, want.MeanLatDeg)
	near("longitude", f.MeanLonDeg, want.MeanLonDeg)
	if got.Status.Live {
		t.Error("a replay calls itself live")
	}
}

func text(s *string) string {
	if s == nil {
		return "none"
	}
	t, err := time.Parse(time.RFC3339Nano, *s)
	if err != nil {
		return *s
	}
	return t.UTC().Format("2006-01-02T15:04:05.000")
}

func compileSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(status.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("status.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("status.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}
