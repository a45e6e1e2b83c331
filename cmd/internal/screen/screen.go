// Package screen draws the live view of a terminal. In: a snapshot, the reader's
// present, a size. Out: lines of text, and from one picture to the next the bytes that
// turn the former into the latter: only lines that changed are sent, for the terminal
// may hang on a slow line. Pure but for the writer; it reads no clock.
package screen

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"noonmark/cmd/internal/wrap"
	"noonmark/status"
)

// Size is that of a terminal, in columns and lines.
type Size struct{ Columns, Lines int }

// leave is the last line.
const leave = "q quits.  Not for navigation. In distress give coordinates, not only a locator."

// Line is one line of a picture.
type Line struct {
	Text string
	Bold bool
	Loud bool // turned about, light for dark: not to be overlooked
}

// Picture is what is to be seen. problem, if any, is why there is no snapshot. A
// simulation stands in a frame that says so on each of its sides.
func Picture(s status.Snapshot, now status.Now, problem string, size Size) []Line {
	report := status.Refusal(problem)
	if problem == "" {
		report, _ = status.Ready(s, now, nil) // without names no mode can be unknown
	}
	if in, ok := report.Rehearsed(); ok {
		return framed(draw(s, in, now, Size{max(size.Columns-4, 0), max(size.Lines-2, 0)}), size)
	}
	return draw(s, report, now, size)
}

// draw makes the picture of one report.
func draw(s status.Snapshot, report status.Report, now status.Now, size Size) []Line {
	p := picture{columns: size.Columns}
	p.head(s, report, now)
	word, loud, mode := large(report)
	if !s.Live && s.Schema != "" { // large letters are read from afar, without the frame
		mode, word, loud = "In the simulation: "+word+", "+mode, "DEMO", true
	}
	p.flow(Line{Text: mode, Bold: true})
	p.large(word, loud)
	next := "Next: " + status.Clean(report.Advice.Text)
	if report.Advice.Kind == status.AdviceNone {
		next = "Nothing is to be done."
	}
	p.wrapped(next)
	p.add(Line{})
	p.body(s, report)
	return p.fit(size)
}

// framed puts a simulation's picture into its frame.
func framed(in []Line, size Size) []Line {
	const side = "# "
	word := " " + status.Simulated + " "
	if len(word) > size.Columns {
		word = " SIMULATION: not this computer's clock."
	}
	bar := cut(word, size.Columns)
	bar += strings.Repeat("#", max(size.Columns-utf8.RuneCountInString(bar), 0))
	out := []Line{{Text: bar, Bold: true, Loud: true}}
	for _, l := range in {
		l.Text = cut(side+l.Text+strings.Repeat(" ", max(size.Columns-4-utf8.RuneCountInString(l.Text), 0))+" #", size.Columns)
		out = append(out, l)
	}
	out = append(out, Line{Text: bar, Bold: true, Loud: true})
	for len(out) < size.Lines {
		out = append(out, Line{})
	}
	return out[:size.Lines]
}

// large is the word that is written large: how the clock is for the mode in use, or the
// worst of those shown.
func large(r status.Report) (word string, loud bool, mode string) {
	if r.Answer == status.CannotTell {
		return strings.ToUpper(status.NoContact), true, "Do not key up"
	}
	rank := map[string]int{status.Within: 0, status.Borderline: 1, status.Outside: 2, status.Unknown: 3}
	worst := r.Modes[0]
	for _, m := range r.Modes {
		if rank[m.Verdict] > rank[worst.Verdict] {
			worst = m
		}
	}
	mode = status.Clean(worst.Mode)
	if worst.Verdict != status.Within {
		mode += ": do not key up"
	}
	return strings.ToUpper(status.Heading(worst.Verdict)), worst.Verdict != status.Within, mode
}

type picture struct {
	lines   []Line
	columns int
}

func (p *picture) add(l Line) { p.lines = append(p.lines, l) }

func (p *picture) text(t string) { p.flow(Line{Text: t}) }

// flow adds a line that goes on below, a little deeper, where it is too long.
func (p *picture) flow(l Line) {
	const deeper = "  "
	for rest := []rune(strings.TrimRight(l.Text, " ")); ; {
		cut := len(rest)
		if cut > p.columns {
			cut = p.columns
			for cut > len(deeper) && rest[cut] != ' ' {
				cut--
			}
			if cut <= len(deeper) { // one word that has no room: it is cut when all is fitted
				cut = len(rest)
			}
		}
		l.Text = strings.TrimRight(string(rest[:cut]), " ")
		p.add(l)
		if cut == len(rest) {
			return
		}
		rest = []rune(deeper + strings.TrimLeft(string(rest[cut:]), " "))
	}
}

// large writes a word in large letters where there is room for them.
func (p *picture) large(word string, loud bool) {
	rows := letters(word)
	if len(rows[0]) > p.columns {
		p.add(Line{Text: " " + word + " ", Bold: true, Loud: true})
		return
	}
	for _, row := range rows {
		p.add(Line{Text: row, Bold: true, Loud: loud})
	}
}

// wrapped adds text, broken at blanks.
func (p *picture) wrapped(text string) {
	for line := range strings.Lines(wrap.To(max(p.columns, 1), "", text)) {
		p.add(Line{Text: strings.TrimRight(line, "\n"), Bold: true})
	}
}

// head is the time, as far as it is known.
func (p *picture) head(s status.Snapshot, r status.Report, now status.Now) {
	utc, what := now.System, " by the system clock"
	switch {
	case !s.Live && s.Written.SystemUTC.OK && r.Clock.ErrorS.OK:
		utc, what = s.Written.SystemUTC.V.Add(-time.Duration(r.Clock.ErrorS.V*1e9)), ""
	case r.Clock.ErrorS.OK && r.Answer != status.CannotTell:
		utc, what = utc.Add(-time.Duration(r.Clock.ErrorS.V*1e9)), ""
	}
	p.flow(Line{Text: utc.Time().Format("2006-01-02  15:04:05") + " UTC" + what, Bold: true})
}

// body is what the verdict rests on.
func (p *picture) body(s status.Snapshot, r status.Report) {
	if r.Answer == status.CannotTell {
		p.wrapped(status.Clean(r.Because))
		return
	}
	for _, m := range r.Modes {
		p.text(modeText(m))
	}
	for _, m := range s.Modes {
		if len(r.Modes) == 1 && m.Mode != r.Modes[0].Mode {
			p.text(modeText(m))
		}
	}
	p.add(Line{})
	clock := "Clock   " + status.FastSlow(r.Clock.ErrorS)
	if r.Clock.BoundS.OK {
		clock += ", ± " + status.Number(r.Clock.BoundS.V) + " s (99 %)"
	}
	if r.Clock.GuardS.OK {
		clock += ", worst case " + status.Number(r.Clock.GuardS.V) + " s"
	}
	p.text(clock)
	by := status.BasisWords(r.Clock.Basis)
	if by == "" {
		by = "nothing"
	}
	p.text("By      " + by + "; steering: " + status.Clean(r.Clock.Steering))
	p.place(s.Position)
	for _, q := range s.Problems {
		p.wrapped("Problem: " + status.Clean(q.Text))
	}
	for _, ref := range s.References {
		p.text(fmt.Sprintf("%-8s%s", status.Clean(ref.Trust), status.Clean(ref.Name)))
	}
}

func (p *picture) place(pos *status.Position) {
	if pos == nil {
		p.text("Place   not known, no satellite fix yet")
		return
	}
	t := "Place   " + status.Clean(pos.Locator)
	if pos.BoundM.OK {
		t += fmt.Sprintf(", ± %.0f m", pos.BoundM.V)
	}
	if pos.Satellites.OK {
		t += fmt.Sprintf(", %.0f satellites", pos.Satellites.V)
	}
	if pos.Fix == "none" {
		t += ", no fix now"
	}
	p.text(t)
}

func modeText(m status.Mode) string {
	t := fmt.Sprintf("%-8s%-12s", status.Clean(m.Mode), status.Clean(m.Verdict))
	if m.Verdict == status.Within && m.GoodForS.OK {
		return t + "good for " + status.Span(m.GoodForS.V) + " without another reading"
	}
	return t + "tolerance " + status.Number(m.ToleranceS) + " s"
}

// fit cuts the picture to the terminal; the last line says how to leave.
func (p *picture) fit(size Size) []Line {
	last := []string{leave}
	if utf8.RuneCountInString(leave) > size.Columns && size.Lines >= 12 { // a very low terminal has no room for it whole
		last = strings.Split(strings.TrimSuffix(wrap.To(max(size.Columns, 1), "", leave), "\n"), "\n")
		last = last[:min(len(last), 4)]
	}
	room := max(size.Lines-len(last), 0)
	lines := p.lines[:min(len(p.lines), room)]
	for len(lines) < room {
		lines = append(lines, Line{})
	}
	for _, t := range last[:min(len(last), size.Lines)] {
		lines = append(lines, Line{Text: t})
	}
	for i, l := range lines {
		lines[i].Text = cut(l.Text, size.Columns)
	}
	return lines
}

// cut shortens text to n columns. Everything here is one column a character.
func cut(text string, n int) string {
	text = strings.TrimRight(text, " ")
	if utf8.RuneCountInString(text) <= n {
		return text
	}
	r := []rune(text)[:max(n, 0)]
	if n > 1 {
		r[n-1] = '…'
	}
	return string(r)
}
