// Command write makes the manual pages for the package:
//
//	go run ./cmd/internal/manual/write DIR VERSION SECONDS
//
// SECONDS is the date on them, as Unix time.
package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"noonmark/cmd/internal/manual"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) != 3 {
		return errors.New("usage: write DIR VERSION SECONDS")
	}
	s, err := strconv.ParseInt(args[2], 10, 64)
	if err != nil {
		return fmt.Errorf("the date: %w", err)
	}
	pages, err := manual.Pages(manual.Release{Version: args[1], Date: time.Unix(s, 0)})
	if err != nil {
		return err
	}
	for name, text := range pages {
		if err := os.WriteFile(filepath.Join(args[0], name), []byte(text), 0o644); err != nil {
			return err
		}
	}
	return nil
}
