// Package logging makes the log of a process that runs on and on.
package logging

import (
	"io"
	"log/slog"
)

// New is the log of a service.
func New(w io.Writer, verbose, asJSON bool) *slog.Logger {
	options := &slog.HandlerOptions{Level: slog.LevelInfo}
	if verbose {
		options.Level = slog.LevelDebug
	}
	if asJSON {
		return slog.New(slog.NewJSONHandler(w, options))
	}
	return slog.New(slog.NewTextHandler(w, options))
}
