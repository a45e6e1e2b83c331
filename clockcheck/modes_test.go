package clockcheck

import (
	"math"
	"strings"
	"testing"
)

// Lengths in seconds as printed in the papers named in the table's sources (cited
// from memory): the table computes them from symbols × symbol length.
func TestModesAgainstPublishedLengths(t *testing.T) {
	for name, want := range map[string]float64{"FT8": 12.64, "FT4": 5.04, "WSPR": 110.59, "JT65": 46.81} {
		m, err := ModeNamed(strings.ToLower(name))
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(m.Length.Seconds()-want) > 0.01 {
			t.Errorf("%s lasts %.3f s, published %v s", name, m.Length.Seconds(), want)
		}
	}
}

func TestModesAreSound(t *testing.T) {
	seen := map[string]bool{}
	for _, m := range Modes() {
		if m.Tolerance <= 0 || m.Offset+m.Length > m.Period || m.Source == "" || seen[m.Name] {
			t.Errorf("%+v", m)
		}
		seen[m.Name] = true
	}
	if len(seen) < 17 {
		t.Errorf("%d modes", len(seen))
	}
	if _, err := ModeNamed("FT9"); err == nil || !strings.Contains(err.Error(), "FT8") {
		t.Errorf("an unknown mode gives %v, want the names there are", err)
	}
}
