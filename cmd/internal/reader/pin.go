package reader

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
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/web"
	"noonmark/status"
	"noonmark/status/safefile"
)

// PIN prints the number.
func PIN(c cli.Pin, out io.Writer) (int, error) {
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	var first error
	for _, dir := range env.ReadDirs(c.RunDir) {
		err := safefile.Dir(dir)
		var b []byte
		if err == nil {
			b, err = safefile.Read(filepath.Join(dir, web.PinName), web.MaxPINFile)
		}
		number := strings.TrimSpace(string(b))
		if err == nil {
			err = speaks(dir)
		}
		if err == nil {
			if c.JSON {
				return exit.OK, json.NewEncoder(out).Encode(map[string]string{"pin": number})
			}
			_, err = fmt.Fprintln(out, number)
			return exit.OK, err
		}
		if first == nil || errors.Is(err, errSilent) || errors.Is(err, fs.ErrPermission) {
			first = err
		}
	}
	if errors.Is(first, errSilent) {
		return exit.Cannot, exit.With(exit.Cannot, fmt.Errorf("the number that lies here may be old: %w", first))
	}
	if errors.Is(first, fs.ErrPermission) {
		return exit.Cannot, exit.With(exit.Cannot, errors.New("you may not see the number: sudo noonmark pin"))
	}
	return exit.Cannot, exit.With(exit.Cannot, fmt.Errorf("no service with a page is running here: %s", env.StartCommand()))
}

// errSilent: what lies in the directory is of a service that was killed or hangs.
var errSilent = errors.New("the service has stopped or hangs: sudo systemctl restart noonmark")

// speaks is errSilent unless the service of dir has just published.
func speaks(dir string) error {
	found, err := status.Find(dir)
	if err != nil || !status.Fresh(found.Status, found.Now).OK {
		return errSilent
	}
	return nil
}
