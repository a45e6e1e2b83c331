package page

import (
	"fmt"
	"strings"

	"noonmark/status"
	"noonmark/status/spoken"
)

// aloud is the place in one form, to be read to somebody: one number a line, each in groups
// of digits; as it is copied; as it is said.
type aloud struct {
	ID, Name string
	Lines    [][]string
	Copy     string
	Said     string
}

// readAloud gives the place in the forms that are read to somebody.
func readAloud(q *status.Position, forms []Row) []aloud {
	if q == nil || q.Locator == "" {
		return nil
	}
	locator := status.Clean(q.Locator)
	out := []aloud{{"a-locator", "Locator", [][]string{pairs(locator)}, locator, spoken.Locator(locator)}}
	for i, f := range forms {
		a := aloud{ID: fmt.Sprintf("a-form%d", i), Name: f.Name, Lines: numbersOf(f.Value), Copy: f.Value}
		if said, ok := spoken.Coordinates(f.Value); ok {
			a.Said = said
		}
		out = append(out, a)
	}
	return out
}

// pairs puts a locator in pairs, as it is read.
func pairs(locator string) (out []string) {
	for len(locator) > 2 {
		out, locator = append(out, locator[:2]), locator[2:]
	}
	return append(out, locator)
}

// numbersOf parts a text into the numbers in it, each in groups of digits. A text with a
// colon is a link and is left as it is.
func numbersOf(text string) (out [][]string) {
	if strings.Contains(text, ":") {
		return [][]string{{text}}
	}
	for _, number := range strings.Fields(strings.ReplaceAll(text, ",", " ")) {
		out = append(out, groups(number))
	}
	return out
}

// longRun: shorter runs of digits are read at once (common practice, no source for it).
const longRun = 5

// groups parts the long runs of digits of a number by threes, counted from its point; a run
// of ten behind letters is two fives, an easting and a northing.
func groups(number string) []string {
	var out []string
	cell := strings.Builder{}
	flush := func() {
		if cell.Len() > 0 {
			out = append(out, minus(cell.String()))
			cell.Reset()
		}
	}
	for i := 0; i < len(number); {
		n := 0
		for i+n < len(number) && number[i+n] >= '0' && number[i+n] <= '9' {
			n++
		}
		run := number[i : i+n]
		switch {
		case n == 0:
			cell.WriteByte(number[i])
			i++
			continue
		case n < longRun:
			cell.WriteString(run)
		case i > 0 && number[i-1] == '.': // a fraction: from the point on
			for k := 0; k < n; k += 3 {
				if k > 0 {
					flush()
				}
				cell.WriteString(run[k:min(k+3, n)])
			}
		case n%2 == 0 && i > 0 && number[i-1] >= 'A' && number[i-1] <= 'Z':
			flush()
			cell.WriteString(run[:n/2])
			flush()
			cell.WriteString(run[n/2:])
		default: // a whole number: up to its end
			for k := 0; k < n; k++ {
				if k > 0 && (n-k)%3 == 0 {
					flush()
				}
				cell.WriteByte(run[k])
			}
		}
		i += n
	}
	flush()
	return out
}
