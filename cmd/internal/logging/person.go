package logging

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"
)

// person writes records for somebody who looks at a terminal: the time, the message,
// then what belongs to it, sentences without their names.
type person struct {
	mu    *sync.Mutex
	to    io.Writer
	level slog.Level
	attrs []slog.Attr
}

// sentences are the attributes that are one.
var sentences = map[string]bool{"reason": true, "because": true, "text": true, "what": true, "next": true}

func (p *person) Enabled(_ context.Context, l slog.Level) bool { return l >= p.level }

func (p *person) Handle(_ context.Context, r slog.Record) error {
	var b strings.Builder
	b.WriteString(r.Time.UTC().Format("15:04:05") + " UTC ")
	switch {
	case r.Level >= slog.LevelError:
		b.WriteString("ERROR ")
	case r.Level >= slog.LevelWarn:
		b.WriteString("WARNING ")
	}
	b.WriteString(r.Message)
	first := true
	add := func(a slog.Attr) bool {
		text := a.Value.String()
		switch {
		case text == "":
			return true
		case !sentences[a.Key]:
			text = a.Key + " " + text
		case strings.HasSuffix(b.String(), "."):
			b.WriteString(" " + text)
			return true
		}
		switch {
		case first:
			b.WriteString(": ")
		case sentences[a.Key]:
			b.WriteString(". ")
		default:
			b.WriteString(", ")
		}
		first = false
		b.WriteString(text)
		return true
	}
	for _, a := range p.attrs {
		add(a)
	}
	r.Attrs(add)
	p.mu.Lock()
	defer p.mu.Unlock()
	_, err := fmt.Fprintln(p.to, b.String())
	return err
}

func (p *person) WithAttrs(a []slog.Attr) slog.Handler {
	q := *p
	q.attrs = append(p.attrs[:len(p.attrs):len(p.attrs)], a...)
	return &q
}

// WithGroup is not used here; the group's name would be no word for a person.
func (p *person) WithGroup(string) slog.Handler { return p }
