package hear

import (
	"context"
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/air/crowd"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
)

func heardAt(t *testing.T, file, at string) *stamped {
	t.Helper()
	c := cli.Hear{Words: []string{air + file}, At: at, Place: "FG69"}
	c.JSON = true
	code, text := run(t, c)
	var f found
	if err := json.Unmarshal([]byte(text), &f); err != nil || code != 0 || f.Clock == nil {
		t.Fatal(code, err, text)
	}
	return f.Clock
}

// TestAt: busy_03.wav begins with a period, and its stations are listed 0.8 s late
// (testdata/air/heard.csv). So a clock that stamped it 04:05:15 was 0.8 s fast, and one
// that stamped it 2 s less 1.2 s slow; nothing else changes.
func TestAt(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for _, tt := range []struct {
		at          string
		error, most float64 // s: by the list; the widest bound
	}{
		{"2031-02-03T04:05:15.00Z", 0.8, 0.2},
		{"2031-02-03T04:05:13.00Z", -1.2, 0.2},
		{"2031-02-03T04:05:23.00Z", -6.2, 0.2}, // 8.8 s modulo 15 s
		{"2031-02-03 04:05:15.0", 0.8, 0.3},
	} {
		got := heardAt(t, "busy_03.wav", tt.at)
		if math.Abs(got.ErrorS-(tt.error-crowd.Delay)) > 0.05 || got.BoundS > tt.most || got.BoundS < tt.most-0.1 || got.ModuloS != 15 {
			t.Errorf("%s: %+v", tt.at, got)
		}
	}
}

// TestAtOfACutPeriod: a recording that begins 4 s into a period lacks the first arrays of its signals. What is left of them
// looks like signals 5.76 s later, by which no clock is judged.
func TestAtOfACutPeriod(t *testing.T) {
	good, err := os.ReadFile(air + "busy_03.wav")
	if err != nil {
		t.Fatal(err)
	}
	cut := append(good[:44:44], good[44+4*2*12000:]...)
	path := filepath.Join(t.TempDir(), "cut.wav")
	if err := os.WriteFile(path, append(cut, raw(t, "field-110115.wav")[:4*2*12000]...), 0o600); err != nil {
		t.Fatal(err)
	}
	code, text := run(t, cli.Hear{Words: []string{path}, At: "2031-02-03T04:05:19.0Z"})
	if code != 1 || strings.Contains(text, "The crowd of") || strings.Contains(text, "The clock that gave") {
		t.Errorf("%d, %s", code, text)
	}
}

// TestAtStation: the real minute of WWV begins 42.9 ms after the first sample (testdata/air),
// so its true stamp is 00:07:59.9571; a clock half a second fast stamps it 00:08:00.4571.
func TestAtStation(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for at, fast := range map[string]float64{"2025-02-27T00:08:00.457Z": 0.5, "2025-02-27T00:07:40.957Z": -19} {
		if got := heardAt(t, "wwv-20250227T0008.wav", at); math.Abs(got.ErrorS-fast) > got.BoundS || got.BoundS > 0.1 || got.ModuloS != 60 {
			t.Errorf("%s: %+v", at, got)
		}
	}
}

// TestAtSays: the sign in words, and that no service learns of it.
func TestAtSays(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	_, text := run(t, cli.Hear{Words: []string{air + "busy_03.wav"}, At: "2031-02-03T04:05:13Z"})
	for _, want := range []string{"The clock that gave 2031-02-03T04:05:13Z was 1.2", " s slow ± 1.", "multiples of 15 s", "given to 1 s", "service learns nothing"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
	if _, text := run(t, cli.Hear{Words: []string{air + "field-110115.wav"}, At: "2031-02-03T04:05:13Z"}); strings.Contains(text, "The clock that gave") {
		t.Error("one station is no witness: ", text)
	}
}

func TestBadAt(t *testing.T) {
	for _, bad := range []string{"25:00", "2031-02-30T04:05:15Z", "2031-02-03T04:05Z", "2031-02-03T04:05:15+01:00", "2031-02-03T04:05:61Z", "2031-02-03T04:05:15.0123456789Z", "now", "-"} {
		c := cli.Hear{Words: []string{air + "busy_03.wav"}, Mode: "FT8", Channel: 1, At: bad}
		code, err := Hear(context.Background(), c, strings.NewReader(""), io.Discard, io.Discard)
		if code != exit.Misuse || err == nil || !strings.Contains(err.Error(), "no instant in UTC") || !strings.Contains(err.Error(), bad) {
			t.Errorf("%q: %d, %v", bad, code, err)
		}
	}
	if s, err := readAt("2031-02-03T04:05:15.25Z"); err != nil || s.grain != 10*time.Millisecond || !s.at.Time().Equal(time.Date(2031, 2, 3, 4, 5, 15, 250e6, time.UTC)) {
		t.Errorf("%+v, %v", s, err)
	}
}
