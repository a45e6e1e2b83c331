package main

import (
	"io"
	"log/slog"
)

// newLog is the log of a service.
func newLog(w io.Writer, verbose, asJSON bool) *slog.Logger {
	options := &slog.HandlerOptions{Level: slog.LevelInfo}
	if verbose {
		options.Level = slog.LevelDebug
	}
	if asJSON {
		return slog.New(slog.NewJSONHandler(w, options))
	}
	return slog.New(slog.NewTextHandler(w, options))
}
