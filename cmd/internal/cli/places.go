package cli

import (
	"regexp"
	"strings"
)

// Kong takes any word that begins with a hyphen for a flag. A coordinate south
// or west does too, so such words get a mark in front before kong sees them,
// which is taken off as they come out. The mark is a byte that no operating
// system lets into an argument.
const mark = "\x00"

var negative = regexp.MustCompile(`^-\.?[0-9]`)

func protect(args []string) []string {
	out := make([]string, 0, len(args))
	for i, a := range args {
		if a == "--" {
			return append(out, args[i:]...)
		}
		if negative.MatchString(a) {
			a = mark + a
		}
		out = append(out, a)
	}
	return out
}

func unprotect(s string) string { return strings.TrimPrefix(s, mark) }

// joinWords makes one place of several words: "-20.13 -67.49", "19 K 553000
// 7774000".
func joinWords(words []string) string { return strings.Join(words, " ") }
