// Command noonmark judges the clock of an off-grid radio station. Here a command finds
// its package, and an error its exit code.
package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"noonmark/cmd/internal/build"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/follower"
	"noonmark/cmd/internal/hear"
	"noonmark/cmd/internal/inspect"
	"noonmark/cmd/internal/marking"
	"noonmark/cmd/internal/places"
	"noonmark/cmd/internal/prepare"
	"noonmark/cmd/internal/reader"
	"noonmark/cmd/internal/rehearsal"
	"noonmark/cmd/internal/replay"
	"noonmark/cmd/internal/service"
	"noonmark/status/plaintext"
	"noonmark/status/safefile"
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
		return exit.Misuse // cli has said what is wrong
	case command == "":
		return exit.OK // help or a completion script was asked for
	}
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	if dir := env.DemoDir(); c.Rehearse(dir) && safefile.OwnDir(dir) != nil {
		fmt.Fprintln(errOut, "noonmark: no demo of yours is running here: start one in another terminal: noonmark demo")
		return exit.Cannot
	}
	// What came from outside commands no terminal. The screen paints with commands of its
	// own and cleans what it shows.
	if command != "screen" {
		plain := plaintext.NewWriter(out)
		defer plain.Close()
		out = plain
	}
	errOut = plaintext.NewWriter(errOut)
	code, err := dispatch(ctx, c, command, in, out, errOut)
	if err == nil {
		return code
	}
	fmt.Fprintf(errOut, "noonmark: %v\n", err)
	return exit.Code(err)
}

func dispatch(ctx context.Context, u *cli.CLI, command string, in io.Reader, out, errOut io.Writer) (int, error) {
	switch command {
	case "run":
		return exit.OK, service.Serve(ctx, u.Run, errOut)
	case "demo":
		return exit.OK, rehearsal.Demo(ctx, u.Demo, out)
	case "replay":
		return exit.OK, replay.Files(u.Replay, out)
	case "ready":
		return reader.Ready(u.Ready, out)
	case "report":
		return places.Report(u.Report, out, errOut)
	case "why":
		return reader.Why(u.Why, out)
	case "grid":
		if u.Grid.Track != "" {
			return places.Track(u.Grid, in, out, errOut)
		}
		return places.Grid(u.Grid, out)
	case "path":
		return places.Path(u.Path, in, out, errOut)
	case "screen":
		return exit.OK, reader.Screen(ctx, u.Screen, in, out)
	case "follow":
		return exit.OK, follower.Follow(ctx, u.Follow, errOut)
	case "mark":
		return marking.Mark(ctx, u.Mark, in, out)
	case "hear":
		return hear.Hear(ctx, u.Hear, in, out, errOut)
	case "until":
		return reader.Until(ctx, u.Until, out)
	case "prepare":
		return prepare.Prepare(ctx, u.Prepare, out)
	case "preflight":
		return inspect.Preflight(ctx, u.Preflight, out)
	case "resume":
		return marking.Resume(u.Resume, out)
	case "pin":
		return reader.PIN(u.Pin, out)
	case "ports":
		return exit.OK, inspect.Ports(ctx, u.Ports, in, out)
	case "version":
		return exit.OK, printVersion(u.Version, out)
	}
	return exit.Misuse, exit.Usage(fmt.Errorf("no such command: %s", command))
}

func printVersion(c cli.Version, out io.Writer) error {
	date := build.Date().Time().Format("2006-01-02")
	if c.JSON {
		return json.NewEncoder(out).Encode(map[string]string{"version": build.Version, "build_date": date})
	}
	_, err := fmt.Fprintf(out, "noonmark %s, built %s\n", build.Version, date)
	return err
}
