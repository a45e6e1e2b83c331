package web

import (
	"errors"
	"fmt"
	"io/fs"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/pin"
	"noonmark/status/page"
	"os"
	"path/filepath"
)

// Opener is the page's way to the number.
func Opener(g *pin.Guard) func(number, from string) error {
	return func(number, from string) error {
		err := g.Check(number, from, hostclock.Now())
		var wait pin.WaitError
		switch {
		case errors.As(err, &wait):
			return page.ErrWait
		case errors.Is(err, pin.ErrWrong):
			return page.ErrPIN
		}
		return err
	}
}

// PinName is the file of the run directory that shows the number to the service's
// own user.
const PinName = "pin"

// MaxPINFile is its largest size, bytes.
const MaxPINFile = 100

// ShowNumber writes the file, not through what may lie there.
func ShowNumber(dir, number string) error {
	path := filepath.Join(dir, PinName)
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(f, number)
	return errors.Join(err, f.Close())
}

func HideNumber(dir string) { os.Remove(filepath.Join(dir, PinName)) }
