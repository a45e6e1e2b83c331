package nearest

import "testing"

func TestWord(t *testing.T) {
	known := []string{"ready", "replay", "report", "run", "why"}
	for written, want := range map[string]string{"": "", "x": "", "frob": "", "raedy": "ready", "reday": "ready", "redy": "ready",
		"READY": "ready", "replya": "replay", "repot": "report", "rnu": "run", "yhw": ""} {
		if got := Word(written, known); got != want {
			t.Errorf("%q: got %q, want %q", written, got, want)
		}
	}
}

// The distance is a metric's, but for the triangle, and swaps count once.
func TestDistance(t *testing.T) {
	for _, row := range []struct {
		a, b string
		want int
	}{{"", "abc", 3}, {"abc", "", 3}, {"abc", "abc", 0}, {"abc", "acb", 1}, {"ca", "abc", 3}, {"until", "untill", 1}, {"kitten", "sitting", 3}} {
		if got, back := Distance(row.a, row.b), Distance(row.b, row.a); got != row.want || back != got {
			t.Errorf("%q, %q: %d and %d, want %d", row.a, row.b, got, back, row.want)
		}
	}
}
