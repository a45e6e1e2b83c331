package config

import (
	"strings"

	words "noonmark/cmd/internal/nearest"
)

// nearest returns the key (or the table) most like the one written, or "" when
// none is: a third of its letters may differ.
func nearest(written string, keys map[string]setter) string {
	best, bestDist := "", len(written)/3+1
	consider := func(k string, d int) {
		if d < bestDist || d == bestDist && best != "" && k < best {
			best, bestDist = k, d
		}
	}
	table, leaf, dotted := strings.Cut(written, ".")
	for k := range keys {
		t, l, _ := strings.Cut(k, ".")
		switch {
		case !dotted:
			consider(t, words.Distance(table, t))
			if table == l { // written without its table
				return k
			}
		case leaf == l && table != t:
			consider(k, 1) // in the wrong table
		default:
			consider(k, words.Distance(written, k))
		}
	}
	return best
}
