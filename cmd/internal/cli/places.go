package cli

import (
	"errors"
	"fmt"
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

var number = regexp.MustCompile(`^[-+]?(\d+\.?\d*|\.\d+)$`)

// joinPairs joins neighbouring lone numbers to latitude,longitude, also where
// the first keeps its comma: "-20.13, -67.49".
func joinPairs(words []string) ([]string, error) {
	var places []string
	for i := 0; i < len(words); i++ {
		w := words[i]
		lat := strings.TrimSuffix(w, ",")
		if !number.MatchString(lat) {
			places = append(places, w)
			continue
		}
		if i+1 == len(words) || !number.MatchString(words[i+1]) {
			return nil, fmt.Errorf("path: %q is half of a place; write latitude,longitude, such as -20.13,-67.49", w)
		}
		i++
		places = append(places, lat+","+words[i])
	}
	return places, nil
}

// split finds the two places among the words.
func (p *Path) split() error {
	places, err := joinPairs(p.Words)
	switch {
	case err != nil:
		return err
	case len(places) > 2:
		return errors.New("path: more than two places; put quotes around one that has spaces")
	case len(places) > 1:
		p.From = places[1]
	}
	if len(places) > 0 {
		p.To = places[0]
	}
	return nil
}
