package config

import "strings"

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
			consider(t, distance(table, t))
			if table == l { // written without its table
				return k
			}
		case leaf == l && table != t:
			consider(k, 1) // in the wrong table
		default:
			consider(k, distance(written, k))
		}
	}
	return best
}

// distance is the number of letters to insert, remove or change (Levenshtein, two
// rows of the usual table).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
