// Package wrap breaks lines for a terminal.
package wrap

import "strings"

const Columns = 80 // of a small terminal

// Text breaks text at spaces into lines of at most 80 columns, each behind the
// indent, each ended. A word that is longer stands alone.
func Text(indent, text string) string { return To(Columns, indent, text) }

// To is Text for another width.
func To(width int, indent, text string) string {
	var b strings.Builder
	line := indent
	for _, word := range strings.Fields(text) {
		if len([]rune(line))+1+len([]rune(word)) > width && line != indent {
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
