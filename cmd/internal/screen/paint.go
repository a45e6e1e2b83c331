package screen

import (
	"fmt"
	"io"
	"strings"
)

// What a terminal is told (ECMA-48; the alternate screen as xterm has it, and every
// terminal since).
const (
	enter = "\x1b[?1049h\x1b[?25l\x1b[2J"
	exit  = "\x1b[0m\x1b[?25h\x1b[?1049l"
)

// Painter keeps a terminal in step with pictures.
type Painter struct {
	w    io.Writer
	last []Line
	size Size
}

// NewPainter takes the terminal over.
func NewPainter(w io.Writer) (*Painter, error) {
	_, err := io.WriteString(w, enter)
	return &Painter{w: w}, err
}

// Close gives the terminal back as it was.
func (p *Painter) Close() error {
	_, err := io.WriteString(p.w, exit)
	return err
}

// Paint shows a picture. It sends what differs from the last, in one write.
func (p *Painter) Paint(lines []Line, size Size) error {
	var b strings.Builder
	if size != p.size {
		b.WriteString("\x1b[2J")
		p.last, p.size = nil, size
	}
	for i, l := range lines {
		was, known := Line{}, i < len(p.last)
		if known {
			was = p.last[i]
		}
		if known && was == l || !known && l.Text == "" {
			continue
		}
		change(&b, i+1, was, l)
	}
	p.last = append(p.last[:0], lines...)
	if b.Len() == 0 {
		return nil
	}
	_, err := io.WriteString(p.w, b.String())
	return err
}

// change turns a line into another: from where they first differ to where they last
// do, if they look alike.
func change(b *strings.Builder, row int, was, is Line) {
	old, text := []rune(was.Text), []rune(is.Text)
	from, to := 0, len(text)
	if was.Bold == is.Bold && was.Loud == is.Loud {
		for from < len(old) && from < to && old[from] == text[from] {
			from++
		}
		if len(old) == len(text) {
			for to > from && old[to-1] == text[to-1] {
				to--
			}
		}
	}
	fmt.Fprintf(b, "\x1b[%d;%dH", row, from+1)
	look := ""
	if is.Bold {
		look += "\x1b[1m"
	}
	if is.Loud {
		look += "\x1b[7m"
	}
	b.WriteString(look + string(text[from:to]))
	if look != "" {
		b.WriteString("\x1b[0m")
	}
	if len(text) < len(old) || from == 0 && len(old) == 0 {
		b.WriteString("\x1b[K")
	}
}
