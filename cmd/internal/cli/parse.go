package cli

import (
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"noonmark/cmd/internal/nearest"
)

// UsageExit is the exit status of a command line that cannot be understood.
const UsageExit = 2

// UsageError is a command line that cannot be understood: what is wrong and
// what to type instead. Main should print it and exit with UsageExit.
type UsageError struct {
	Problem string
	Remedy  string
}

func (e *UsageError) Error() string { return e.Problem + "\n" + e.Remedy }

// versionFlag, as the first word, is the command "version": both are what people try.
const versionFlag = "--version"

// Parse understands args (without the program's name). It returns the filled
// grammar and the command's name, such as "ready". The name is "" when there
// is nothing left to do, because help or a completion script was asked for and
// written to out. A usage error is written to errOut and returned as a
// *UsageError.
func Parse(args []string, out, errOut io.Writer) (*CLI, string, error) {
	c, command, err := parse(args, out)
	if err != nil {
		fmt.Fprintf(errOut, "noonmark: %v\n", err)
	}
	return c, command, err
}

func parse(args []string, out io.Writer) (*CLI, string, error) {
	c := new(CLI)
	answered := false
	k, err := parser(c, out, func(int) { answered = true })
	if err != nil {
		return nil, "", fmt.Errorf("cli: %w", err) // a defect of the grammar
	}
	if len(args) == 1 && args[0] == "help" {
		args = []string{"--help"}
	}
	if len(args) > 0 && args[0] == versionFlag {
		args = append([]string{"version"}, args[1:]...)
	}
	ctx, err := k.Parse(protect(args))
	if answered {
		return c, "", nil
	}
	if err == nil {
		err = c.check()
	}
	if err != nil {
		return nil, "", usage(err, args)
	}
	command, _, _ := strings.Cut(ctx.Command(), " ")
	if command == "completion" {
		_, err := io.WriteString(out, script(k.Model, c.Completion.Shell))
		return c, "", err
	}
	return c, command, nil
}

// parser builds kong's parser. exit is called when help has been printed.
func parser(c *CLI, out io.Writer, exit func(int)) (*kong.Kong, error) {
	k, err := kong.New(c,
		kong.Name("noonmark"),
		kong.Description(about),
		kong.Writers(out, out),
		kong.Exit(exit),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, NoAppDescFormat: true, FlagsLast: true, WrapUpperBound: 100}),
		kong.KindMapper(reflect.String, kong.MapperFunc(func(ctx *kong.DecodeContext, target reflect.Value) error {
			var s string
			if err := ctx.Scan.PopValueInto("value", &s); err != nil {
				return err
			}
			target.SetString(unprotect(s))
			return nil
		})),
	)
	if err == nil {
		k.Model.HelpFlag.Help = "Show what the command does, and what it takes."
	}
	return k, err
}

// Grammar is the command line's grammar, for the manual: commands, flags, help.
func Grammar() (*kong.Application, error) {
	k, err := parser(new(CLI), io.Discard, func(int) {})
	if err != nil {
		return nil, fmt.Errorf("cli: %w", err)
	}
	return k.Model, nil
}

// check does what the grammar cannot say.
func (c *CLI) check() error {
	switch {
	case c.Demo.For < 0:
		return errors.New("--for must not be negative")
	case !(c.Demo.Speed >= 0 && c.Demo.Speed <= 1e6):
		return errors.New("--speed must be a number from 0 to 1000000")
	case c.Grid.Length != 0 && (c.Grid.Length < 2 || c.Grid.Length > 10 || c.Grid.Length%2 != 0):
		return fmt.Errorf("--length %d: a locator has 2, 4, 6, 8 or 10 characters", c.Grid.Length)
	case c.Run.Baud != nil && (*c.Run.Baud < 0 || *c.Run.Baud > 4_000_000):
		return fmt.Errorf("--baud %d: a speed in bits a second, such as 9600, or 0 to find it", *c.Run.Baud)
	case !(c.Run.Latency >= 0 && c.Run.Latency <= 2):
		return errors.New("--latency-s must be a number of seconds from 0 to 2")
	case !(c.Until.Bound >= 0 && c.Until.Bound <= 3600):
		return errors.New("--bound must be a number of seconds over 0, at most 3600")
	case c.Hear.Channel != 0 && c.Hear.Channel != 1 && c.Hear.Channel != 2:
		return fmt.Errorf("--channel %d: 1 is left, 2 is right", c.Hear.Channel)
	case c.Hear.Channels != 0 && (c.Hear.Channels > 2 || c.Hear.Channels < 1 || len(c.Hear.Words) == 0 && c.Hear.Channel > c.Hear.Channels):
		return fmt.Errorf("--channels %d, --channel %d: one or two channels, and one of them", c.Hear.Channels, c.Hear.Channel)
	case c.Hear.Rate != 0 && (c.Hear.Rate < 8000 || c.Hear.Rate > 48000):
		return fmt.Errorf("--rate %d: 8000 to 48000 samples a second", c.Hear.Rate)
	case c.Hear.Offsets && (c.Hear.Raw || len(c.Hear.Words) == 0):
		return errors.New("name the offsets after --offsets, in seconds: noonmark hear --offsets 0.8 0.9 0.7 0.8 1.0")
	case c.Hear.At != "" && (c.Hear.Offsets || c.Hear.Raw || len(c.Hear.Words) != 1):
		return errors.New("--at is the instant of one recording's first sample: noonmark hear FILE.wav --at 2031-02-03T04:05:15.0Z")
	case c.Mark.Beat && c.Mark.React:
		return errors.New("--beat and --react: choose one")
	case c.Mark.Taps != 0 && (c.Mark.Taps < 3 || c.Mark.Taps > 60):
		return fmt.Errorf("--taps %d: from 3 to 60", c.Mark.Taps)
	case c.Until.Limit < 0 || c.Until.Limit > 24*time.Hour:
		return errors.New("--limit must be a length of time, at most 24h: nothing waits for ever for the time")
	case c.Report.Fit < 0:
		return errors.New("--fit must be a number of characters, such as 40")
	case c.Ports.Yes && c.Ports.Probe == "":
		return errors.New("--yes goes with --probe PORT")
	case (c.Grid.CSV || c.Grid.GPX) && c.Grid.Track == "":
		return errors.New("--csv and --gpx go with --track FILE")
	case c.Grid.CSV && c.Grid.GPX || c.Grid.JSON && (c.Grid.CSV || c.Grid.GPX):
		return errors.New("--csv, --gpx and --json: choose one")
	case c.Grid.Track != "" && len(c.Grid.Words) > 0:
		return errors.New("--track FILE and a place: ask for one of them")
	case c.Path.CSV && c.Path.List == "":
		return errors.New("--csv goes with --list FILE")
	case c.Path.CSV && c.Path.JSON:
		return errors.New("--csv and --json: choose one")
	}
	return c.oneStation()
}

// usage words an error of kong's, and adds what to do.
func usage(err error, args []string) error {
	problem := strings.NewReplacer("\x00", "", `\x00`, "").Replace(err.Error())
	u := &UsageError{problem, fmt.Sprintf("Run %q to see what it takes.", strings.Join([]string{"noonmark", named(args), "--help"}, " "))}
	if named(args) == "" {
		u.Remedy = `Run "noonmark --help" to see the commands.`
	}
	flag, _, _ := strings.Cut(problem, ":")
	value := ""
	if parts := strings.Split(problem, `"`); len(parts) > 2 {
		value = parts[1]
	}
	switch {
	case strings.Contains(problem, `but got "EOL"`), strings.Contains(problem, ": missing value"):
		u.Problem = flag + ": what? A value is missing"
	case strings.Contains(problem, "unexpected argument ") && named(args) == "":
		word := problem[strings.Index(problem, "unexpected argument ")+len("unexpected argument "):]
		word, _, _ = strings.Cut(word, ",")
		u.Problem = fmt.Sprintf("there is no command %q", word)
		if meant := nearest.Word(word, commandNames()); meant != "" {
			u.Problem += fmt.Sprintf("; did you mean %q?", "noonmark "+meant)
		}
	case strings.Contains(problem, " must be one of "):
		name, _, _ := strings.Cut(problem, " must")
		u.Problem = fmt.Sprintf("%s: not %q; one of those that the help shows: bash, zsh or fish", name, args[len(args)-1])
	case len(args) == 0:
		u.Problem = "which command?"
		u.Remedy = `Run "noonmark --help" to see the commands, or "noonmark demo" to look at it.`
	case strings.HasPrefix(problem, "expected one of"):
		u.Problem = "which command?"
	case strings.HasPrefix(problem, `expected "<`):
		u.Problem = "missing " + value
	case strings.Contains(problem, ": expected duration"):
		u.Problem = fmt.Sprintf("%s: %q is not a length of time", flag, value)
		u.Remedy = "Write it with its unit: 90s, 10m, 8h, 1h30m."
	case strings.Contains(problem, ": expected a float"):
		u.Problem = fmt.Sprintf("%s: %q is not a number from 0 up", flag, value)
	case strings.Contains(problem, ": expected a valid"):
		u.Problem = fmt.Sprintf("%s: %q is not a whole number from 0 up", flag, value)
	}
	return u
}

// named returns the first command among args, "" if there is none.
func named(args []string) string {
	for _, a := range args {
		if slices.Contains(commandNames(), a) {
			return a
		}
	}
	return ""
}

// commandNames lists the commands, in the order of the grammar.
func commandNames() []string {
	var names []string
	for f := range reflect.TypeFor[CLI]().Fields() {
		names = append(names, strings.ToLower(f.Name))
	}
	return names
}
