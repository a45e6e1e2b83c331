// Package logging makes the program's log: text or JSON lines, one a record. Where the
// system's journal reads them, each begins with its priority (sd-daemon(3)), so that
// "journalctl -p warning" shows what a person should look at.
package logging

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"sync"
	"syscall"

	"noonmark/cmd/internal/terminal"
	"noonmark/status/plaintext"
)

// Options say what the log looks like.
type Options struct {
	Debug    bool
	JSON     bool
	Priority bool // each line begins with its priority
	Person   bool // somebody looks at a terminal
}

// New is the log of a service on w: its errors' stream, whose lines carry priorities if
// the journal reads that of this process.
func New(w io.Writer, verbose, asJSON bool) *slog.Logger {
	return With(w, Options{Debug: verbose, JSON: asJSON, Priority: Reads(os.Getenv, os.Stderr), Person: terminal.Of(w).Is})
}

// With returns a log on w.
func With(w io.Writer, o Options) *slog.Logger {
	h := &slog.HandlerOptions{Level: slog.LevelInfo}
	if o.Debug {
		h.Level = slog.LevelDebug
	}
	if o.Person && !o.JSON && !o.Priority {
		return slog.New(&person{mu: new(sync.Mutex), to: plaintext.NewWriter(w), level: h.Level.Level()})
	}
	out := &lines{to: w, priority: o.Priority}
	if o.JSON {
		return slog.New(&handler{slog.NewJSONHandler(out, h), out})
	}
	return slog.New(&handler{slog.NewTextHandler(out, h), out})
}

// Reads tells whether the journal reads f: JOURNAL_STREAM names its device and inode
// (systemd.exec(5)). A log that was sent elsewhere needs no priorities.
func Reads(getenv func(string) string, f *os.File) bool {
	fi, err := f.Stat()
	if err != nil {
		return false
	}
	st, ok := fi.Sys().(*syscall.Stat_t)
	return ok && getenv("JOURNAL_STREAM") == fmt.Sprintf("%d:%d", st.Dev, st.Ino)
}

// priority of syslog(3): 3 error, 4 warning, 6 information, 7 debug.
func priority(l slog.Level) int {
	switch {
	case l >= slog.LevelError:
		return 3
	case l >= slog.LevelWarn:
		return 4
	case l >= slog.LevelInfo:
		return 6
	}
	return 7
}

// handler tells the writer below the level of the record that it is about to write.
type handler struct {
	slog.Handler
	out *lines
}

func (h *handler) Handle(ctx context.Context, r slog.Record) error {
	h.out.mu.Lock()
	defer h.out.mu.Unlock()
	h.out.level = r.Level
	return h.Handler.Handle(ctx, r)
}

func (h *handler) WithAttrs(a []slog.Attr) slog.Handler {
	return &handler{h.Handler.WithAttrs(a), h.out}
}
func (h *handler) WithGroup(name string) slog.Handler {
	return &handler{h.Handler.WithGroup(name), h.out}
}

// lines writes one record at a time; a handler of slog makes one Write of each.
type lines struct {
	mu       sync.Mutex
	to       io.Writer
	priority bool
	level    slog.Level
}

func (l *lines) Write(p []byte) (int, error) {
	text := plaintext.Escape(p)
	if l.priority {
		text = append(fmt.Appendf(nil, "<%d>", priority(l.level)), text...)
	}
	if _, err := l.to.Write(text); err != nil {
		return 0, err
	}
	return len(p), nil
}
