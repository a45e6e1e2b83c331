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

// words in large letters, by verdict; none has more than ten letters.
var words = map[string]string{status.Within: "WITHIN", status.Outside: "OUTSIDE", status.Borderline: "BORDERLINE", status.Unknown: "UNKNOWN"}

// Picture is what is to be seen. problem, if any, is why there is no snapshot.
func Picture(s status.Snapshot, now status.Now, problem string, size Size) []Line {
	var p picture
	report := status.Refusal(problem)
	if problem == "" {
		report, _ = status.Ready(s, now, nil) // without names no mode can be unknown
	}
	p.head(s, report, now)
	word, loud, mode := large(s, report)
	p.add(Line{Text: mode, Bold: true})
	for _, row := range letters(word) {
		p.add(Line{Text: row, Bold: true, Loud: loud})
	}
	p.add(Line{})
	p.body(s, report)
	return p.fit(size)
}

// large is the word that is written large: the verdict on the mode in use, or the
// worst of those shown.
func large(s status.Snapshot, r status.Report) (word string, loud bool, mode string) {
	if r.Answer == status.CannotTell {
		if !s.Live && s.Schema != "" {
			return "DEMO", true, "Not this computer's clock"
		}
		return "NO NEWS", true, "Do not key up"
	}
	rank := map[string]int{status.Within: 0, status.Borderline: 1, status.Outside: 2, status.Unknown: 3}
	worst := r.Modes[0]
	for _, m := range r.Modes {
		if rank[m.Verdict] > rank[worst.Verdict] {
			worst = m
		}
	}
	word = words[worst.Verdict]
	if word == "" {
		word = "UNKNOWN"
	}
	mode = status.Clean(worst.Mode)
	if worst.Verdict != status.Within {
		mode += ": do not key up"
	}
	return word, worst.Verdict != status.Within, mode
}

type picture struct{ lines []Line }

func (p *picture) add(l Line) { p.lines = append(p.lines, l) }

func (p *picture) text(t string) { p.add(Line{Text: t}) }

// head is the time, as far as it is known.
func (p *picture) head(s status.Snapshot, r status.Report, now status.Now) {
	utc, what := now.System, " by the system clock"
	if r.Clock.ErrorS.OK && r.Answer != status.CannotTell {
		utc, what = utc.Add(-time.Duration(r.Clock.ErrorS.V*1e9)), ""
	}
	p.add(Line{Text: utc.Time().Format("2006-01-02  15:04:05") + " UTC" + what, Bold: true})
}

// body is what the verdict rests on.
func (p *picture) body(s status.Snapshot, r status.Report) {
	if r.Answer == status.CannotTell {
		p.text(status.Clean(r.Because))
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
	if r.Clock.GuardS.OK {
		clock += ", ± " + status.Number(r.Clock.GuardS.V) + " s"
	}
	p.text(clock)
	by := status.BasisWords(r.Clock.Basis)
	if by == "" {
		by = "nothing"
	}
	p.text("By      " + by + "; steering: " + status.Clean(r.Clock.Steering))
	p.place(s.Position)
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
	lines := p.lines
	if len(lines) > size.Lines-1 {
		lines = lines[:max(size.Lines-1, 0)]
	}
	for len(lines) < size.Lines-1 {
		lines = append(lines, Line{})
	}
	if size.Lines > 0 {
		lines = append(lines, Line{Text: leave})
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
