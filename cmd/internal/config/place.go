package config

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"noonmark/grid"
)

// somewhere takes a place in any form, or nothing.
func somewhere(s string) (string, error) {
	if s == "" {
		return "", nil
	}
	if _, err := grid.ParsePlace(s); err != nil {
		return "", fmt.Errorf("must be a place, such as \"-20.46,-66.82\" or a locator, or \"\" for none, but is %q: %w", s, err)
	}
	return s, nil
}

// maxWord is the longest name, characters: it must fit into a short message.
const maxWord = 40

// word takes a name for a message, or nothing.
func word(s string) (string, error) {
	if utf8.RuneCountInString(s) > maxWord || strings.TrimSpace(s) != s || strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return "", fmt.Errorf("must be a name of at most %d characters in one line, but is %q", maxWord, s)
	}
	return s, nil
}
