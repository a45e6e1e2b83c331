package logging

import (
	"regexp"
	"strings"
	"testing"
)

// On a terminal a line is words; what came from outside cannot command it.
func TestPerson(t *testing.T) {
	var b strings.Builder
	log := With(&b, Options{Person: true})
	log.Debug("nobody asked for this")
	log.Info("verdict", "clock", "gnss FT8=within", "because", "By the receiver the clock is right.", "next", "Nothing is to be done.")
	log.Warn("receiver", "reason", "\x1b[2Jpermission denied", "empty", "")
	log.With("part", "broker").Error("mqtt", "reason", "refused")
	want := []string{
		`^\d\d:\d\d:\d\d UTC verdict: clock gnss FT8=within\. By the receiver the clock is right. Nothing is to be done.$`,
		`^\d\d:\d\d:\d\d UTC WARNING receiver: \\u001b\[2Jpermission denied$`,
		`^\d\d:\d\d:\d\d UTC ERROR mqtt: part broker\. refused$`,
	}
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	if len(lines) != len(want) {
		t.Fatalf("%q", lines)
	}
	for i, w := range want {
		if !regexp.MustCompile(w).MatchString(lines[i]) {
			t.Errorf("%q, want %s", lines[i], w)
		}
	}
}
