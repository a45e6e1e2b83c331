package wrap

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Wrapping loses no word, and no line of more than one word is too long.
func TestWrap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[a-z°±]{1,90}( [a-zé]{1,30}){0,30}`).Draw(t, "text")
		out := Text("    ", text)
		if got := strings.Join(strings.Fields(out), " "); got != text {
			t.Fatalf("words changed: %q", got)
		}
		for line := range strings.Lines(out) {
			if n := len([]rune(strings.TrimRight(line, "\n"))); n > Columns && strings.Contains(strings.TrimSpace(line), " ") {
				t.Fatalf("%d columns: %q", n, line)
			}
		}
	})
}
