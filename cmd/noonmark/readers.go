package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/status"
)

// published finds the status to read, and takes the reader's present.
func published(runDir string) (status.Snapshot, status.Now, error) {
	now, err := status.ReadNow()
	if err != nil {
		return status.Snapshot{}, now, err
	}
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	s, _, err := status.Find(now, env.ReadDirs(runDir)...)
	if errors.Is(err, os.ErrNotExist) {
		err = errors.New("no status is published: start the service: noonmark run")
	}
	return s, now, err
}

// ready answers "may I key up?".
func ready(c cli.Ready, out io.Writer) (int, error) {
	s, now, err := published(c.RunDir)
	report := status.Refusal("Nothing to go by: " + errText(err) + ".")
	if err == nil {
		if report, err = status.Ready(s, now, c.Modes); err != nil {
			return exitUsage, usageError{err}
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
		return exitCannot, codeError{exitCannot, err}
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

func printVersion(c cli.Version, out io.Writer) error {
	date := buildDate().Time().Format("2006-01-02")
	if c.JSON {
		return json.NewEncoder(out).Encode(map[string]string{"version": version, "build_date": date})
	}
	_, err := fmt.Fprintf(out, "noonmark %s, built %s\n", version, date)
	return err
}
