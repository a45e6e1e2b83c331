package lab

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// line is one line of a scenario file being read: words, with commas, quotes and
// units already told apart.
type line struct {
	words []string
	at    int
}

// cut splits a line into words; a comma is a word, a quoted text is one word that
// keeps its first quote, a number is parted from the unit stuck to it, and what
// follows a # is a remark.
func cut(text string) ([]string, error) {
	var words []string
	for {
		text = strings.TrimLeft(text, " \t\r")
		switch {
		case text == "" || text[0] == '#':
			return words, nil
		case text[0] == ',':
			words, text = append(words, ","), text[1:]
		case text[0] == '"':
			end := strings.IndexByte(text[1:], '"')
			if end < 0 {
				return nil, fmt.Errorf("a quote is opened and not closed")
			}
			words, text = append(words, text[:end+1]), text[end+2:]
		default:
			end := strings.IndexAny(text, " \t\r,\"#")
			if end < 0 {
				end = len(text)
			}
			words, text = append(words, split(text[:end])...), text[end:]
		}
	}
}

// split parts 140ms into 140 and ms; 0:40, FT8, 192.0.2.1 and 2031-02-03 stay.
func split(word string) []string {
	n := 0
	for n < len(word) && strings.IndexByte("+-.0123456789", word[n]) >= 0 {
		n++
	}
	if _, err := strconv.ParseFloat(word[:n], 64); err != nil || n == len(word) {
		return []string{word}
	}
	if _, ok := units[word[n:]]; !ok {
		return []string{word}
	}
	return []string{word[:n], word[n:]}
}

// units are the words that may follow a number, with what they multiply it by:
// seconds for times, the unit itself for the rest.
var units = map[string]float64{
	"µs": 1e-6, "us": 1e-6, "ms": 1e-3, "s": 1, "min": 60, "h": 3600, "days": 86400, "day": 86400,
	"ppm": 1, "C": 1, "°C": 1, "%": 0.01, "m": 1, "m/s": 1, "baud": 1, "Hz": 1,
}

func (l *line) done() bool { return l.at == len(l.words) }

// is takes the words of a phrase if they come next.
func (l *line) is(phrase string) bool {
	for i, w := range strings.Fields(phrase) {
		if l.at+i >= len(l.words) || !strings.EqualFold(l.words[l.at+i], w) {
			return false
		}
	}
	l.at += len(strings.Fields(phrase))
	return true
}

// word takes the next word.
func (l *line) word(what string) (string, error) {
	if l.done() || l.words[l.at] == "," {
		return "", fmt.Errorf("%s is missing", what)
	}
	l.at++
	return l.words[l.at-1], nil
}

// rest takes all that is left, as it stood but for blanks.
func (l *line) rest() string {
	s := strings.ReplaceAll(strings.Join(l.words[l.at:], " "), " ,", ",")
	l.at = len(l.words)
	return s
}

// quoted takes a text in quotes.
func (l *line) quoted() (string, error) {
	w, err := l.word("a text in quotes")
	if err == nil && !strings.HasPrefix(w, `"`) {
		err = fmt.Errorf("%q: a text in quotes is wanted", w)
	}
	return strings.TrimPrefix(w, `"`), err
}

// number takes a number with one of the units, in the first unit's measure.
func (l *line) number(what, unit string) (float64, error) {
	w, err := l.word(what + ", a number of " + unit)
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseFloat(w, 64)
	if err != nil {
		return 0, fmt.Errorf("%s: %q is not a number", what, w)
	}
	if unit == "" {
		return v, nil
	}
	u, err := l.word(what + ": the unit " + unit)
	if err != nil {
		return 0, err
	}
	if u == "°C" {
		u = "C"
	}
	f, ok := units[u]
	_, isTime := map[string]bool{"µs": true, "us": true, "ms": true, "s": true, "min": true, "h": true, "days": true, "day": true}[u]
	if !ok || isTime != (unit == "s") || !isTime && u != unit {
		return 0, fmt.Errorf("%s: the unit is %q, wanted %s", what, u, unit)
	}
	return v * f, nil
}

// span takes a length of time.
func (l *line) span(what string) (time.Duration, error) {
	v, err := l.number(what, "s")
	return time.Duration(v * 1e9), err
}

// offset takes a length of time and whether a clock is fast or slow by it.
func (l *line) offset(what string) (time.Duration, error) {
	d, err := l.span(what)
	switch {
	case err != nil || d == 0 || l.is("fast"):
		return d, err
	case l.is("slow"):
		return -d, nil
	}
	return 0, fmt.Errorf("%s: say fast or slow", what)
}

// clock takes an instant of the story: H:MM or H:MM:SS.
func (l *line) clock(what string) (time.Duration, error) {
	w, err := l.word(what)
	if err != nil {
		return 0, err
	}
	part := strings.Split(w, ":")
	var d time.Duration
	for i, unit := range []time.Duration{time.Hour, time.Minute, time.Second} {
		if i >= len(part) {
			break
		}
		n, err := strconv.Atoi(part[i])
		if err != nil || n < 0 || i > 0 && n > 59 {
			return 0, fmt.Errorf("%s: %q is no time such as 1:30 or 1:30:00", what, w)
		}
		d += time.Duration(n) * unit
	}
	if len(part) < 2 || len(part) > 3 {
		return 0, fmt.Errorf("%s: %q is no time such as 1:30 or 1:30:00", what, w)
	}
	return d, nil
}

// list reads properties between commas.
func (l *line) list(one func() error) error {
	for {
		if err := one(); err != nil {
			return err
		}
		if l.done() {
			return nil
		}
		if !l.is(",") {
			return fmt.Errorf("%q is not understood here", l.words[l.at])
		}
	}
}
