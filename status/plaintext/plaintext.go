// Package plaintext keeps what came from outside (a receiver's identity, a file's
// name, a broker's reason) from commanding a terminal or turning a line around. Text
// or JSON goes in; the same with every control character, C1 control, bidirectional
// control, other invisible format character and damaged byte written as a JSON escape
// (\u202e) comes out. Line ends (LF, and CR LF as in CSV, RFC 4180) and tabs stay.
//
// In JSON an escape within a string means the same string, so nothing is lost; in
// text it shows what was there.
package plaintext

import (
	"fmt"
	"io"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"
)

// harmful tells the characters that act instead of being shown: Cc but for line end
// and tab, Cf (in it the bidirectional controls of UAX #9), line and paragraph
// separators, private and unassigned ones of the tags' plane.
func harmful(r rune) bool {
	switch {
	case r == '\n' || r == '\t':
		return false
	case r < 0x20 || r >= 0x7f && r < 0xa0:
		return true
	case r < 0xa0:
		return false
	}
	return unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) || r>>16 == 0xe
}

// crlf tells whether b begins with the line end of two characters.
func crlf(b []byte) bool { return len(b) > 1 && b[0] == '\r' && b[1] == '\n' }

// clean reports the common case: nothing but printable ASCII, line ends and tabs.
func clean(b []byte) bool {
	for i, c := range b {
		if c < 0x20 && c != '\n' && c != '\t' && !crlf(b[i:]) || c >= 0x7f {
			return false
		}
	}
	return true
}

// Escape returns b with what is harmful escaped; b itself if there is nothing.
func Escape(b []byte) []byte {
	if clean(b) {
		return b
	}
	out := make([]byte, 0, len(b)+16)
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		switch {
		case r == utf8.RuneError && n == 1:
			out = append(out, `\ufffd`...)
		case !harmful(r), crlf(b):
			out = append(out, b[:n]...)
		case r > 0xffff:
			hi, lo := utf16.EncodeRune(r)
			out = fmt.Appendf(out, `\u%04x\u%04x`, hi, lo)
		default:
			out = fmt.Appendf(out, `\u%04x`, r)
		}
		b = b[n:]
	}
	return out
}

// String is Escape for a string.
func String(s string) string {
	if b := []byte(s); !clean(b) {
		return string(Escape(b))
	}
	return s
}

// Writer escapes what is written through it. A character may come in pieces. Close
// writes what is left of one that never became whole.
type Writer struct {
	to   io.Writer
	tail []byte
}

// NewWriter returns a Writer to w.
func NewWriter(w io.Writer) *Writer { return &Writer{to: w} }

// Under is the writer below, for a program's own commands to a terminal; nothing from
// outside may go there.
func (w *Writer) Under() io.Writer { return w.to }

// Write reports all of p as written when what came of it was.
func (w *Writer) Write(p []byte) (int, error) {
	b := p
	if len(w.tail) > 0 {
		b = append(w.tail, p...)
		w.tail = nil
	}
	if n := partial(b); n > 0 {
		w.tail = append([]byte(nil), b[len(b)-n:]...)
		b = b[:len(b)-n]
	}
	if _, err := w.to.Write(Escape(b)); err != nil {
		return 0, err
	}
	return len(p), nil
}

// Close writes what is left; the writer below stays open.
func (w *Writer) Close() error {
	b := w.tail
	w.tail = nil
	if len(b) == 0 {
		return nil
	}
	_, err := w.to.Write(Escape(b))
	return err
}

// partial is how many bytes at the end of b begin a character that is not whole.
func partial(b []byte) int {
	if len(b) > 0 && b[len(b)-1] == '\r' { // perhaps the half of a line end
		return 1
	}
	for n := 1; n <= min(utf8.UTFMax-1, len(b)); n++ {
		if c := b[len(b)-n]; utf8.RuneStart(c) {
			if utf8.FullRune(b[len(b)-n:]) {
				return 0
			}
			return n
		}
	}
	return 0
}
