package replay

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/record"
	"noonmark/cmd/internal/settings"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/world"
)

// parts records a simulated quarter of an hour in a folder, in several files, and returns
// them with the last status of the station that was recorded.
func parts(t *testing.T) (files []string, last []byte) {
	floor := timescale.UTCOf(time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC))
	cfg := station.Config{Judge: clockcheck.Config{Floor: floor, Modes: settings.ShownModes(), RTCCompensated: true}, BuildDate: floor,
		LocatorLength: 10, BootID: "boot"}
	told, dir := cfg, t.TempDir()
	var w *world.World
	var f *record.Folder
	head := func() record.Header {
		h := record.Header{Config: told}
		if w != nil {
			h.Learned, h.Place = w.Station.Learned(), w.Station.LastPlace()
		}
		return h
	}
	f, err := record.OpenFolder(dir, 1, "run", head)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Record = f.Put
	s, err := world.Named("first-night") // nothing is learned
	if err != nil {
		t.Fatal(err)
	}
	w = world.New(s, cfg, 1)
	for w.Elapsed() < 25*time.Minute {
		w.Second()
		if err := f.Tick(w.Local()); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if files, err = record.Files(dir); err != nil || len(files) < 2 {
		t.Fatalf("%v, %v", files, err)
	}
	if last, err = json.Marshal(w.Station.Snapshot()); err != nil {
		t.Fatal(err)
	}
	return files, last
}

// A record in parts judges to the very status of the station that was recorded; a later part
// alone is judged too, and says that the beginning is missing.
func TestReplayRecord(t *testing.T) {
	files, want := parts(t)
	var out bytes.Buffer
	if err := replay(cli.Replay{Files: files, Output: cli.Output{JSON: true}}, settings.ShownModes(), &out); err != nil {
		t.Fatal(err)
	}
	var r struct {
		Files  []fileReport
		Status json.RawMessage
	}
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		t.Fatal(err)
	}
	if len(r.Files) != len(files) || r.Files[0].Lines < 1000 || string(r.Status) != string(want) {
		t.Errorf("%+v\n%s\n%s", r.Files, r.Status, want)
	}
	out.Reset()
	if err := Files(cli.Replay{Files: files[1:2]}, &out); err != nil {
		t.Fatal(err)
	}
	for _, words := range []string{"the one before it was not named", "inputs of the station, 0 of them", "FT8"} {
		if !strings.Contains(out.String(), words) {
			t.Errorf("not said: %q in\n%s", words, &out)
		}
	}
	out.Reset()
	if err := Files(cli.Replay{Files: files, Mode: []string{"WSPR"}}, &out); err != nil || strings.Contains(out.String(), "FT8") {
		t.Errorf("for WSPR alone: %v\n%s", err, &out)
	}
}

// What only looks like a record is refused with its name.
func TestReplayNoRecord(t *testing.T) {
	name := filepath.Join(t.TempDir(), "x.record.gz")
	if err := os.WriteFile(name, []byte{0x1f, 0x8b, 8, 0}, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := Files(cli.Replay{Files: []string{name}}, &bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), "x.record.gz") {
		t.Errorf("%v", err)
	}
}
