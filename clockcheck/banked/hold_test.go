package banked

import (
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// A verdict falls at once and rises after 2 s, whatever flutters below it.
func TestVerdictsDoNotFlutter(t *testing.T) {
	word := map[byte]clockcheck.Verdict{'w': clockcheck.Within, 'b': clockcheck.Borderline, 'o': clockcheck.Outside, 'u': clockcheck.Unknown}
	for _, row := range []struct{ name, is, said string }{
		{"flutter at the edge of outside", "bobobobobbbb", "booooooooobb"},
		{"flutter at the edge of within", "wbwbwbwwwwww", "bbbbbbbbwwww"},
		{"set right", "ooowwwww", "ooooowww"},
		{"falls at once", "wwwwoob", "bbwwooo"},
		{"nothing known any more", "oubb", "oubb"},
		{"eased", "obbbb", "ooobb"},
	} {
		j := New(clockcheck.Config{Modes: []clockcheck.Mode{{Name: "FT8", Tolerance: time.Second}}}, clockcheck.Learned{})
		var said strings.Builder
		for i := range len(row.is) {
			v := j.verdict.hold(0, timescale.Local(1e9*(i+1)), word[row.is[i]])
			said.WriteByte(string(v)[0])
		}
		if said.String() != row.said {
			t.Errorf("%s: %s is said as %s, want %s", row.name, row.is, said.String(), row.said)
		}
	}
}
