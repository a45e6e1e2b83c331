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
			if c.JSON {
				return exit.OK, json.NewEncoder(out).Encode(map[string]string{"pin": number})
			}
			_, err = fmt.Fprintln(out, number)
			return exit.OK, err
		}
		if first == nil || errors.Is(err, fs.ErrPermission) {
			first = err
		}
	}
	if errors.Is(first, fs.ErrPermission) {
		return exit.Cannot, exit.With(exit.Cannot, errors.New("you may not see the number: sudo noonmark pin"))
	}
	return exit.Cannot, exit.With(exit.Cannot, errors.New("no service with a page is running here: noonmark run"))
}
