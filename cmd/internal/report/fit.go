package report

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// A rung is one way to say it shorter. What it keeps is never cut: numbers have fewer
// decimals, locators fewer pairs, and the rest is there or not.
type rung struct {
	lead     string
	when     string // layout; "" = no time
	locator  int    // most characters; 0 = none
	decimals int    // of the degrees; -1 = no coordinates
	within   bool
	spell    bool // say how old, not only that
	to       bool
}

const (
	day    = "2006-01-02 1504Z"
	group  = "021504Z" // day, hour, minute: the date-time group in general use
	minute = "1504Z"
)

// Ladders from long to short: the first that fits is taken. Well keeps the locator to
// the end, distress the coordinates.
var (
	wellLadder = []rung{
		{"I AM HERE AND WELL", day, 10, 5, true, true, true},
		{"HERE AND WELL", day, 10, 5, true, true, true},
		{"WELL", group, 10, 5, true, true, true},
		{"WELL", group, 10, 4, true, true, false},
		{"WELL", group, 10, 4, false, true, false},
		{"WELL", group, 8, 4, false, false, false},
		{"WELL", group, 6, 3, false, false, false},
		{"WELL", group, 10, -1, false, false, false},
		{"WELL", group, 8, -1, false, false, false},
		{"WELL", minute, 6, -1, false, false, false},
		{"WELL", "", 8, -1, false, false, false},
		{"WELL", "", 6, -1, false, false, false},
		{"WELL", "", 4, -1, false, false, false},
		{"", "", 6, -1, false, false, false},
		{"", "", 4, -1, false, false, false},
	}
	distressLadder = []rung{
		{"", day, 10, 5, true, true, true},
		{"", group, 10, 5, true, true, true},
		{"", group, 10, 5, true, true, false},
		{"", group, 8, 5, true, false, false},
		{"", group, 0, 5, true, false, false},
		{"", group, 0, 4, true, false, false},
		{"", group, 0, 4, false, false, false},
		{"", "", 0, 4, false, false, false},
		{"", "", 0, 3, false, false, false},
	}
)

// Fit is the text in one line of at most n characters, in the letters that slow
// modes have: A to Z, digits, blank and + - . / ? (common practice, no source). What
// is wrong stays in it: EXERCISE, OLD, POOR, and ? behind a time that is unproved. If
// it does not fit the error says how long the shortest is.
func (r *Report) Fit(n int) (string, error) {
	ladder := wellLadder
	if r.Distress {
		ladder = distressLadder
	}
	shortest := math.MaxInt
	for _, g := range ladder {
		text := r.on(g)
		if text == "" {
			continue
		}
		size := utf8.RuneCountInString(text)
		if size <= n {
			return text, nil
		}
		shortest = min(shortest, size)
	}
	return "", fmt.Errorf("report: it does not fit into %d characters: the shortest has %d", n, shortest)
}

// on is the text of a rung; "" if it has no place in it.
func (r *Report) on(g rung) string {
	place := ""
	if g.decimals >= 0 {
		place = r.degrees(g.decimals, "")
		if g.within && r.BoundM.OK {
			place += " +-" + strings.ReplaceAll(upTo(r.within(g.decimals)), " ", "")
		}
	}
	locator := r.Locator[:min(len(r.Locator), g.locator)]
	if place == "" && locator == "" {
		return ""
	}
	when := ""
	if g.when != "" {
		when = r.UTC.V.Time().Format(g.when)
		if !r.TimeProved {
			when += "?"
		}
	}
	words := []string{g.lead, when, locator, place, r.marks(g.spell)}
	if r.Distress {
		words = []string{place, r.marks(g.spell), when, locator}
	}
	if r.Exercise {
		words = append([]string{"EXERCISE"}, words...)
	}
	if g.to && r.To != nil {
		words = append(words, strings.NewReplacer(",", " ", " degrees true", "T", " true give or take ", "T +-", " give or take ", "+-").Replace(r.To.text()))
	}
	return sendable(strings.Join(words, " "))
}

// marks says what is wrong with the place.
func (r *Report) marks(spell bool) string {
	var m []string
	if r.Old {
		old := "OLD"
		if spell && r.AgeS.OK {
			old = "OLD " + short(r.AgeS.V)
		}
		m = append(m, old)
	}
	if r.Poor {
		m = append(m, "POOR")
	}
	if r.Moving {
		m = append(m, "MOVING")
	}
	return strings.Join(m, " ")
}

// short writes an age in one unit, rounded up.
func short(s float64) string {
	switch {
	case s <= 5400:
		return fmt.Sprintf("%.0f MIN", math.Ceil(s/60))
	case s <= 48*3600:
		return fmt.Sprintf("%.0f H", math.Ceil(s/3600))
	}
	return fmt.Sprintf("%.0f D", math.Ceil(s/86400))
}

// sendable puts text into the letters of slow modes, one blank between words.
func sendable(text string) string {
	text = strings.Map(func(c rune) rune {
		switch {
		case c >= 'A' && c <= 'Z', c >= '0' && c <= '9', strings.ContainsRune(" +-./?", c):
			return c
		}
		return '?'
	}, strings.ToUpper(text))
	return strings.Join(strings.Fields(text), " ")
}
