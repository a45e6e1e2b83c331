// Package terminal says what an output can show: how wide it is, and whether colours and
// a line that moves have a meaning there. In a pipe there is neither, and text is 80
// columns wide. NO_COLOR (no-color.org) is obeyed: shapes and words say the same.
package terminal

import (
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"noonmark/cmd/internal/wrap"
	"noonmark/status"
)

// narrowest and widest are the columns that texts are made for.
const narrowest, widest = 40, 100

// A Terminal is an output.
type Terminal struct {
	Width  int  // columns that text may fill
	Is     bool // a person looks at it: shapes, and lines that move
	Colour bool
	raw    io.Writer // for our own commands to it
}

// Of looks at w; what cleans text on its way to a terminal lets Of look below it.
func Of(w io.Writer) Terminal {
	t := Terminal{Width: wrap.Columns, raw: w}
	if u, ok := w.(interface{ Under() io.Writer }); ok {
		t.raw = u.Under()
	}
	f, ok := t.raw.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return t
	}
	t.Is = true
	if n, _, err := term.GetSize(int(f.Fd())); err == nil && n > 0 {
		t.Width = min(max(n, narrowest), widest)
	}
	t.Colour = os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
	return t
}

// Tone is how an answer sounds.
type Tone int

// Tones, with the shape that stands for each where a person looks.
const (
	Plain Tone = iota
	Good
	Unsure
	Bad
	Nothing // no answer
)

var shapes = [...]string{Good: "[+] ", Unsure: "[?] ", Bad: "[!] ", Nothing: "[ ] "}

// colours: SGR of ECMA-48.
var colours = [...]string{Good: "1;32", Unsure: "1;33", Bad: "1;31", Nothing: "1"}

// ToneOf is the tone of a report.
func ToneOf(r status.Report) Tone {
	switch {
	case r.Answer == status.Yes && r.Advice.Kind == status.AdviceRenew:
		return Unsure
	case r.Answer == status.Yes:
		return Good
	case r.Answer == status.CannotTell:
		return Nothing
	}
	for _, m := range r.Modes {
		if m.Verdict == status.Outside {
			return Bad
		}
	}
	return Unsure
}

// Room is how wide a text may be whose first line carries a shape.
func (t Terminal) Room(tone Tone) int {
	if !t.Is || tone == Plain {
		return t.Width
	}
	return t.Width - len(shapes[tone])
}

// Answer writes text, made for Room columns, to w; its first sentence, up to the end of
// the line that begins the second, stands out.
func (t Terminal) Answer(w io.Writer, tone Tone, text string) error {
	if !t.Is || tone == Plain {
		_, err := io.WriteString(w, text)
		return err
	}
	head, rest, _ := strings.Cut(text, "\n")
	t.set(colours[tone])
	fmt.Fprint(w, shapes[tone], head)
	t.set("0")
	indent := strings.Repeat(" ", len(shapes[tone]))
	var b strings.Builder
	b.WriteString("\n")
	for line := range strings.Lines(rest) {
		b.WriteString(indent + line)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// set sends a command for colours. Text may wait in no buffer between.
func (t Terminal) set(sgr string) {
	if t.Colour {
		fmt.Fprintf(t.raw, "\x1b[%sm", sgr)
	}
}

// Up takes back the last lines that were written, so that others can stand there.
func (t Terminal) Up(lines int) {
	if t.Is && lines > 0 {
		fmt.Fprintf(t.raw, "\x1b[%dA\r\x1b[J", lines)
	}
}

// Fit breaks the lines of text, made for 80 columns, at blanks, for a terminal that is
// narrower; what goes on below stands under what it belongs to, behind the line's name.
func (t Terminal) Fit(text string) string {
	if !t.Is || t.Width >= wrap.Columns {
		return text
	}
	const deepest = 12
	var b strings.Builder
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		if len([]rune(line)) <= t.Width {
			b.WriteString(line + "\n")
			continue
		}
		body := strings.TrimLeft(line, " ")
		lead := line[:len(line)-len(body)]
		if name, value, ok := strings.Cut(body, "  "); ok && len(lead)+len(name) < deepest {
			lead = line[:len(line)-len(strings.TrimLeft(value, " "))]
			body = strings.TrimLeft(value, " ")
		}
		indent := strings.Repeat(" ", min(len([]rune(lead)), deepest))
		b.WriteString(lead + wrap.To(t.Width, indent, body)[len(indent):])
	}
	return b.String()
}

// Progress shows how much of something is done: a bar and words, on a terminal only.
type Progress struct {
	t    Terminal
	last string
}

// Progress returns a bar that has not been drawn yet.
func (t Terminal) Progress() *Progress { return &Progress{t: t} }

// Show draws the bar for a part from 0 to 1.
func (p *Progress) Show(part float64, words string) {
	if !p.t.Is {
		return
	}
	const bar = 16
	n := int(min(max(part, 0), 1) * bar)
	line := "[" + strings.Repeat("#", n) + strings.Repeat(".", bar-n) + "] " + words
	if r := []rune(line); len(r) >= p.t.Width {
		line = string(r[:p.t.Width-1])
	}
	if line != p.last {
		fmt.Fprint(p.t.raw, "\r"+line+"\x1b[K")
		p.last = line
	}
}

// Clear takes the bar away, so that text can be written.
func (p *Progress) Clear() {
	if p.last != "" {
		fmt.Fprint(p.t.raw, "\r\x1b[K")
		p.last = ""
	}
}
