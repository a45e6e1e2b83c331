package spoken

import (
	"strings"
	"testing"
)

func TestLocator(t *testing.T) {
	for locator, want := range map[string]string{
		"":           "",
		"FG":         "Foxtrot Golf",
		"FG69gu18":   "Foxtrot Golf, six nine, Golf Uniform, one eight",
		"JO62qm50xb": "Juliett Oscar, six two, Quebec Mike, five zero, X-ray Bravo",
		"F?G6":       "Foxtrot Golf, six",
	} {
		if got := Locator(locator); got != want {
			t.Errorf("%q: %q, want %q", locator, got, want)
		}
	}
}

// Source: ITU Radio Regulations, Appendix 14 (from memory). Each word begins with its
// letter, and none is the beginning of another.
func TestCodeWords(t *testing.T) {
	const all = "Alfa Bravo Charlie Delta Echo Foxtrot Golf Hotel India Juliett Kilo Lima Mike November Oscar Papa Quebec Romeo Sierra Tango Uniform Victor Whiskey X-ray Yankee Zulu"
	if got := strings.ReplaceAll(Locator("ABCDEFGHIJKLMNOPQRSTUVWXYZ"), ",", ""); got != all {
		t.Error(got)
	}
	for c := byte('A'); c <= 'Z'; c++ {
		if w := Locator(string(c)); w[0] != c || w != Locator(string(c|0x20)) {
			t.Errorf("%c: %s", c, w)
		}
	}
}

func TestCoordinates(t *testing.T) {
	for text, want := range map[string]string{
		"20.13000 S 67.49000 W": "two zero decimal one three zero zero zero south, six seven decimal four nine zero zero zero west",
		"-20.13, -67.49":        "minus two zero decimal one three, minus six seven decimal four nine",
		"20°07.8'S 067°29.4'W":  "two zero degrees zero seven decimal eight minutes south, zero six seven degrees two nine decimal four minutes west",
	} {
		if got, ok := Coordinates(text); !ok || got != want {
			t.Errorf("%q: %q, %v, want %q", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "  ", "20.13 Ost", "x"} {
		if got, ok := Coordinates(text); ok {
			t.Errorf("%q: %q", text, got)
		}
	}
}
