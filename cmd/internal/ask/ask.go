// Package ask reads what a person types, line by line, and gives up when the program is
// to end: a read of a terminal cannot be broken off, so another goroutine does it. That
// one ends with the input, or with the program.
package ask

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
)

// ErrEnded: Ctrl-C, or the system asks the program to end.
var ErrEnded = errors.New("ended before it was answered")

// Lines are the lines of an input. One goroutine calls Next.
type Lines struct {
	in    io.Reader
	once  sync.Once
	lines chan line
}

type line struct {
	text string
	err  error
}

// New reads nothing before the first Next.
func New(in io.Reader) *Lines { return &Lines{in: in, lines: make(chan line)} }

// ErrNobody: the input is at its end; it is an io.EOF, too.
var ErrNobody = fmt.Errorf("nobody answers: %w", io.EOF)

// Next is the next line without its end. The error is ErrEnded, ErrNobody, or that of
// the input.
func (l *Lines) Next(ctx context.Context) (string, error) {
	l.once.Do(func() { go l.read() })
	select {
	case <-ctx.Done():
		return "", ErrEnded
	case got, ok := <-l.lines:
		if !ok {
			return "", ErrNobody
		}
		return got.text, got.err
	}
}

func (l *Lines) read() {
	defer close(l.lines)
	in := bufio.NewReader(l.in)
	for {
		text, err := in.ReadString('\n')
		if err == nil || text != "" {
			l.lines <- line{text: strings.TrimRight(text, "\r\n")}
		}
		if err != nil {
			if !errors.Is(err, io.EOF) {
				l.lines <- line{err: err}
			}
			return
		}
	}
}
