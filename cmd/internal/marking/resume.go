package marking

import (
	"encoding/json"
	"fmt"
	"io"
	"os"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/wrap"
)

// Resume tells the service to take the clock back from another program.
func Resume(c cli.Resume, out io.Writer) (int, error) {
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	a, err := control.Tell(env.ReadDirs(c.RunDir), control.Request{Do: "resume"})
	if err != nil {
		return exit.No, err
	}
	if c.JSON {
		return exit.OK, json.NewEncoder(out).Encode(map[string]string{"done": a.Done})
	}
	_, err = fmt.Fprint(out, wrap.Text("", a.Done))
	return exit.OK, err
}
