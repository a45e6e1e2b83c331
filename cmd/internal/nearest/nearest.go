// Package nearest finds the word that was probably meant. Words in, a word out.
package nearest

import "strings"

// Word returns the one of known most like what was written, upper and lower case being
// the same, or "" when none is: a third of its letters, and one more, may differ.
func Word(written string, known []string) string {
	best, least := "", len(written)/3+1
	for _, k := range known {
		d := Distance(strings.ToLower(written), strings.ToLower(k))
		if d < least || d == least && best != "" && k < best {
			best, least = k, d
		}
	}
	return best
}

// Distance is the number of letters to insert, remove, change or swap with the next
// (optimal string alignment, three rows of the usual table).
func Distance(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before, last, row = last, row, before
		row[0] = i + 1
		for j := range len(b) {
			cost := last[j]
			if a[i] != b[j] {
				cost++
			}
			row[j+1] = min(cost, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
	}
	return row[len(b)]
}
