package lab

import (
	"strings"
	"testing"

	"noonmark/cmd/internal/station"
)

// A night is described by what is not usual about it, an input by what it is.
func TestDescribe(t *testing.T) {
	c, err := Parse("x", strings.NewReader("lasts 1 h\nreceiver cold, next second\nat 0:10 air -30 C within 4 min\nat 0:20 sky 2 satellites\nat 0:30 say nothing new\n"))
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	Describe(&out, c)
	for _, words := range []string{"NextSecond true", "10m0s  Text The station starts., Air {ToC -30 Over 4m0s}", "20m0s  Text The station starts., Scene {Satellites 2}"} {
		if !strings.Contains(out.String(), words) {
			t.Errorf("not said: %q in\n%s", words, &out)
		}
	}
	if s := InWords(&station.Input{Bytes: &station.Bytes{P: []byte("$GP"), Read: station.Read{At: 2e9, Flowing: true}}}); s != `bytes "$GP" at 2.0000 s, flowing` {
		t.Error(s)
	}
	if s := InWords(&station.Input{Lost: &station.Reason{Why: "gone", At: 5}}); s != "lost {Why gone At 5}" {
		t.Error(s)
	}
}
