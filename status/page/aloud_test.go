package page

import (
	"fmt"
	"strings"
	"testing"
	"unicode"
)

// TestNumbersInGroups: one number a line, its digits in groups, and nothing lost.
func TestNumbersInGroups(t *testing.T) {
	for text, want := range map[string]string{
		"-20.133794, -67.489100":      "[[−20.133 794] [−67.489 100]]",
		"20°08.0276'S 067°29.3460'W":  "[[20°08.0276'S] [067°29.3460'W]]",
		"19K 657928 7772996":          "[[19K] [657 928] [7 772 996]]",
		"19KFT5792872996":             "[[19KFT 57928 72996]]",
		"geo:-20.133794,-67.4891;u=5": "[[geo:-20.133794,-67.4891;u=5]]",
		"about -20.1, -67.5":          "[[about] [−20.1] [−67.5]]",
		"":                            "[]",
	} {
		got := fmt.Sprint(numbersOf(text))
		if got != want {
			t.Errorf("%s: %s, want %s", text, got, want)
		}
		only := func(s string) string {
			return strings.Map(func(r rune) rune {
				if unicode.IsDigit(r) || unicode.IsLetter(r) {
					return r
				}
				return -1
			}, s)
		}
		if only(got) != only(text) {
			t.Errorf("%s: something is lost in %s", text, got)
		}
	}
}
