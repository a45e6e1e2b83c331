package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/pin"
	"noonmark/status/page"
)

// opener is the page's way to the lock.
func opener(lock *pin.Lock) func(number, from string) error {
	return func(number, from string) error {
		switch lock.Try(number, from, hostclock.Now()) {
		case pin.Right:
			return nil
		case pin.Wait:
			return page.ErrWait
		}
		return page.ErrPIN
	}
}

// showPIN prints the number.
func showPIN(c cli.Pin, out io.Writer) (int, error) {
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	var first error
	for _, dir := range env.ReadDirs(c.RunDir) {
		number, err := pin.Read(dir)
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
		return exitCannot, codeError{exitCannot, errors.New("you may not see the number: sudo noonmark pin")}
	}
	return exitCannot, codeError{exitCannot, errors.New("no service with a page is running here: noonmark run")}
}
