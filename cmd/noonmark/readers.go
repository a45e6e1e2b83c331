package main

import (
	"encoding/json"
	"fmt"
	"io"

	"noonmark/cmd/internal/cli"
	"noonmark/status"
)

// ready answers "may I key up?".
func ready(c cli.Ready, out io.Writer) (int, error) {
	s, now, err := published(c.RunDir)
	report := status.Refusal("Nothing to go by: " + errText(err) + ".")
	if err == nil {
		if report, err = status.Ready(s, now, c.Modes); err != nil {
			return exitUsage, asUsage(err)
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

// why explains the judgement.
func why(c cli.Why, out io.Writer) (int, error) {
	s, now, err := published(c.RunDir)
	if err != nil {
		return exitCannot, withCode(exitCannot, err)
	}
	fresh := status.Fresh(s, now)
	if c.JSON {
		if err := json.NewEncoder(out).Encode(s); err != nil {
			return exitNo, err
		}
	} else {
		if !fresh.OK {
			fmt.Fprintf(out, "OLD: %s\n\n", fresh.Because)
		}
		fmt.Fprint(out, s.Why())
	}
	if !fresh.OK {
		return exitCannot, nil
	}
	return exitOK, nil
}
