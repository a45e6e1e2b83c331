package main

import "strings"

const columns = 80 // of a small terminal

// wrap breaks text at spaces into lines of at most 80 columns, each behind the
// indent, each ended. A word that is longer stands alone.
func wrap(indent, text string) string {
	var b strings.Builder
	line := indent
	for _, word := range strings.Fields(text) {
		if len([]rune(line))+1+len([]rune(word)) > columns && line != indent {
			b.WriteString(line + "\n")
			line = indent
		}
		if line != indent {
			line += " "
		}
		line += word
	}
	b.WriteString(line + "\n")
	return b.String()
}
