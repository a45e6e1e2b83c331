package grid

import (
	"regexp"
	"strings"
)

// The second reader's view of words, brackets, hyphens, and numbers that hold degrees and
// minutes: it rewrites them, by regular expressions, as what it knows.

// lonFirstMark stands before a text whose labels say that the longitude comes first.
const lonFirstMark = "\x01"

var (
	inBrackets = regexp.MustCompile(`(?s)^(\((.*)\)|\[(.*)\]|\{(.*)\}|<(.*)>)$`)
	announcing = regexp.MustCompile(`(?i)^(utm|zone|mgrs|usng|locator|grid|position|pos|coordinates)([^a-z].*)$`)
	isoPair    = regexp.MustCompile(`(?i)^([-+−–])([0-9.]+)([-+−–])([0-9.]+)([-+−–][0-9.]+)?(CRS[a-z0-9_]+)?/?$`)
	labels     = regexp.MustCompile(`(?i)(latitude|lat|longitude|long|lon|lng)(\s*[:=.])?`)
	unitWords  = strings.NewReplacer("degrees", "°", "degree", "°", "deg", "°", "minutes", "'", "minute", "'", "min", "'",
		"seconds", `"`, "second", `"`, "sec", `"`, "north", "N", "south", "S", "east", "E", "west", "W")
	hyphen = regexp.MustCompile(`([0-9])[-−–]([0-9])`)
	long   = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)
)

// bare takes off blanks, brackets and words of announcement.
func bare(text string) string {
	for {
		was := text
		text = strings.TrimFunc(text, isBlank)
		if m := inBrackets.FindStringSubmatch(text); m != nil {
			text = text[1 : len(text)-1]
		}
		if m := announcing.FindStringSubmatch(text); m != nil {
			text = strings.TrimLeft(strings.TrimLeftFunc(m[2], isBlank), ":=")
		}
		if text == was {
			return text
		}
	}
}

// plainly rewrites a pair of coordinates.
func plainly(text string) string {
	if m := isoPair.FindStringSubmatch(text); m != nil {
		return m[1] + unpacked(m[2]) + ", " + m[3] + unpacked(m[4])
	}
	prefix := ""
	if m := labels.FindStringSubmatch(text); m != nil {
		if strings.HasPrefix(strings.ToLower(m[1]), "lo") || strings.EqualFold(m[1], "lng") {
			prefix = lonFirstMark
		}
		text = labels.ReplaceAllString(text, " ")
	}
	text = unitWords.Replace(strings.ToLower(text))
	if regexp.MustCompile(`(?is)[nsew].*[nsew]`).MatchString(text) {
		for range 2 {
			text = hyphen.ReplaceAllString(text, "$1 $2")
		}
		text = long.ReplaceAllStringFunc(text, unpacked)
	}
	return prefix + text
}

// unpacked divides 4830.5 into 48 30.5, and 01115 into 011 15.
func unpacked(number string) string {
	whole, frac, _ := strings.Cut(number, ".")
	if frac != "" {
		frac = "." + frac
	}
	if len(whole) < 4 {
		return number
	}
	width := 2 + len(whole)%2
	text := whole[:width]
	for at := width; at < len(whole); at += 2 {
		text += " " + whole[at:at+2]
	}
	return text + frac
}
