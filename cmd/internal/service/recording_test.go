package service

import (
	"errors"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"testing"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/record"
	"noonmark/cmd/internal/station"
	"noonmark/status"
)

// The service keeps its record beside the status, in RAM, unless it is told otherwise.
func TestServiceRecords(t *testing.T) {
	for _, row := range []struct {
		name, folder string
		files        int
	}{{"usual", "memory", 1}, {"none", "none", 0}, {"cannot be", "/dev/null/x", 0}} {
		t.Run(row.name, func(t *testing.T) {
			dir := t.TempDir()
			publish, err := status.NewPublisher(dir, true)
			if err != nil {
				t.Fatal(err)
			}
			defer publish.Close()
			s := &service{log: slog.New(slog.NewTextHandler(io.Discard, nil)), said: map[string]string{}, publish: publish}
			cfg := station.Config{BootID: "0123456789"}
			s.openRecord(config.Record{Folder: row.folder, MostMB: 1}, &cfg)
			s.station = station.New(cfg, clockcheck.Learned{})
			s.station.Use("FT8")
			s.recorded(timescale.Local(20e9))
			s.closeRecord()
			files, _ := filepath.Glob(filepath.Join(dir, recordFolder, "*"))
			if len(files) != row.files || (len(s.said) != 0) != (row.name == "cannot be") {
				t.Fatalf("%v, said %v", files, s.said)
			}
			if row.files == 0 {
				return
			}
			f, err := os.Open(files[0])
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			r, err := record.NewReader(f)
			if err != nil || r.Header.Config.BootID != "0123456789" || r.Header.Part != 1 {
				t.Fatalf("%+v, %v", r, err)
			}
			if in, err := r.Next(); err != nil || *in.Use != "FT8" {
				t.Errorf("%+v, %v", in, err)
			}
			if _, err := r.Next(); !errors.Is(err, io.EOF) {
				t.Error(err)
			}
		})
	}
}
