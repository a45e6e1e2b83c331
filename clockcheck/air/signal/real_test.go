package signal

import (
	"math"
	"os"
	"testing"
	"time"

	"noonmark/clockcheck/air/sound"
)

// minuteOfWWV is the real minute in testdata/air: by its own code 2025-02-27 00:08 UTC, day 58,
// DUT1 0; the minute begins 42.9 ms into the file (measured there by hand).
func minuteOfWWV(t *testing.T) []float32 {
	t.Helper()
	b, err := os.ReadFile("../../../testdata/air/wwv-20250227T0008.wav")
	if err != nil {
		t.Fatal(err)
	}
	p, err := sound.WAV(b, 0)
	if err != nil {
		t.Fatal(err)
	}
	return sound.To8k(p)
}

func TestRealMinuteOfWWV(t *testing.T) {
	all := Find(minuteOfWWV(t))
	t.Logf("%+v", all)
	if len(all) != 1 {
		t.Fatalf("%+v", all)
	}
	s := all[0]
	if want := time.Date(2025, 2, 27, 0, 8, 0, 0, time.UTC); s.Name != "WWV" || !s.Minute || !s.UTC.Equal(want) || s.DUT1 != 0 || math.Abs(s.MinuteS-0.0429) > 0.003 {
		t.Errorf("%+v, want WWV, %v at 0.0429 s", s, want)
	}
}
