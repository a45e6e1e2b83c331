// Package reader holds the commands that read the published status: ready, why, until,
// screen, and pin.
package reader

import (
	"encoding/json"
	"fmt"
	"io"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/status"
)

// Ready answers "may I key up?".
func Ready(c cli.Ready, out io.Writer) (int, error) {
	s, now, err := Published(c.RunDir)
	report := status.Refusal("Nothing to go by: " + errText(err) + ".")
	if err == nil {
		if report, err = status.Ready(s, now, c.Modes); err != nil {
			return exit.Misuse, exit.Usage(err)
		}
	}
	if c.JSON {
		return report.ExitCode(), json.NewEncoder(out).Encode(report)
	}
	fmt.Fprint(out, report.Text())
	return report.ExitCode(), nil
}

func errText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// Why explains the judgement.
func Why(c cli.Why, out io.Writer) (int, error) {
	s, now, err := Published(c.RunDir)
	if err != nil {
		return exit.Cannot, exit.With(exit.Cannot, err)
	}
	fresh := status.Fresh(s, now)
	if c.JSON {
		if err := json.NewEncoder(out).Encode(s); err != nil {
			return exit.No, err
		}
	} else {
		if !fresh.OK {
			fmt.Fprintf(out, "OLD: %s\n\n", fresh.Because)
		}
		fmt.Fprint(out, s.Why())
	}
	if !fresh.OK {
		return exit.Cannot, nil
	}
	return exit.OK, nil
}
