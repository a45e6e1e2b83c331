// Command noonmark judges the clock of an off-grid radio station. Devices,
// goroutines, signals and flags are here; no rule of the trade is.
package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"noonmark/cmd/internal/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run does what args say and returns the exit code.
func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) int {
	c, command, err := cli.Parse(args, out, errOut)
	switch {
	case err != nil:
		return exitUsage // cli has said what is wrong
	case command == "":
		return exitOK // help or a completion script was asked for
	}
	code, err := dispatch(ctx, c, command, in, out, errOut)
	if err == nil {
		return code
	}
	fmt.Fprintf(errOut, "noonmark: %v\n", err)
	return exitCode(err)
}

func dispatch(ctx context.Context, u *cli.CLI, command string, in io.Reader, out, errOut io.Writer) (int, error) {
	switch command {
	case "run":
		return exitOK, serve(ctx, u.Run, errOut)
	case "demo":
		return exitOK, demo(ctx, u.Demo, out)
	case "replay":
		return exitOK, replayFiles(u.Replay, out)
	case "ready":
		return ready(u.Ready, out)
	case "report":
		return reportPlace(u.Report, out, errOut)
	case "why":
		return why(u.Why, out)
	case "grid":
		if u.Grid.Track != "" {
			return gridTrack(u.Grid, in, out, errOut)
		}
		return gridPlace(u.Grid, out)
	case "path":
		return path(u.Path, in, out, errOut)
	case "screen":
		return exitOK, showScreen(ctx, u.Screen, in, out)
	case "follow":
		return exitOK, followStatus(ctx, u.Follow, errOut)
	case "mark":
		return mark(u.Mark, in, out)
	case "until":
		return until(ctx, u.Until, out)
	case "preflight":
		return preflightRun(u.Preflight, out)
	case "pin":
		return showPIN(u.Pin, out)
	case "ports":
		return exitOK, ports(ctx, u.Ports, in, out)
	case "version":
		return exitOK, printVersion(u.Version, out)
	}
	return exitUsage, asUsage(fmt.Errorf("no such command: %s", command))
}

func printVersion(c cli.Version, out io.Writer) error {
	date := buildDate().Time().Format("2006-01-02")
	if c.JSON {
		return json.NewEncoder(out).Encode(map[string]string{"version": version, "build_date": date})
	}
	_, err := fmt.Fprintf(out, "noonmark %s, built %s\n", version, date)
	return err
}
