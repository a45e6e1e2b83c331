package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"

	"noonmark/cmd/internal/lab"
)

// TestJSONIsOneValue: another program reads what --json prints; a night that went wrong is
// told by the error, not by lines behind the value.
func TestJSONIsOneValue(t *testing.T) {
	for missed, want := range map[int]error{0: nil, 1: errFell} {
		var out bytes.Buffer
		night := &lab.Night{Seed: 9, Missed: missed, Modes: []lab.Mode{{Mode: "FT8"}}}
		if err := (nights{}).json(&out, []*lab.Night{night}); !errors.Is(err, want) {
			t.Errorf("guard missed for %d s: %v, want %v", missed, err, want)
		}
		if !json.Valid(out.Bytes()) {
			t.Errorf("guard missed for %d s: not one JSON value: %s", missed, &out)
		}
	}
}
