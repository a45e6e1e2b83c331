package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
)

// showPIN prints the number.
func showPIN(c cli.Pin, out io.Writer) (int, error) {
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	var first error
	for _, dir := range env.ReadDirs(c.RunDir) {
		b, err := os.ReadFile(filepath.Join(dir, pinName))
		number := strings.TrimSpace(string(b))
		if err == nil {
			if c.JSON {
				return exitOK, json.NewEncoder(out).Encode(map[string]string{"pin": number})
			}
			_, err = fmt.Fprintln(out, number)
			return exitOK, err
		}
		if first == nil || errors.Is(err, fs.ErrPermission) {
			first = err
		}
	}
	if errors.Is(first, fs.ErrPermission) {
		return exitCannot, withCode(exitCannot, errors.New("you may not see the number: sudo noonmark pin"))
	}
	return exitCannot, withCode(exitCannot, errors.New("no service with a page is running here: noonmark run"))
}
