package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/alecthomas/kong"
)

// usage is what the operator typed; kong fills it.
type usage struct {
	Run        runCmd        `cmd:"" help:"Be the service: read the receiver and the clocks, judge, publish. Sets no clock."`
	Demo       demoCmd       `cmd:"" help:"Show the whole job on a simulated station; needs no receiver and touches nothing."`
	Replay     replayCmd     `cmd:"" help:"Judge recorded NMEA sentences in virtual time."`
	Ready      readyCmd      `cmd:"" help:"May I key up? One line a mode. Exit 0: all within; 1: not; 3: cannot tell."`
	Grid       gridCmd       `cmd:"" help:"The present locator; or any place in every form."`
	Path       pathCmd       `cmd:"" help:"Distance and beam headings, both ways."`
	Why        whyCmd        `cmd:"" help:"Explain the judgement: each reference, what it says, whether it is trusted, the error budget."`
	Ports      portsCmd      `cmd:"" help:"Serial ports, what they are, which would be opened and why. Opens none."`
	Completion completionCmd `cmd:"" help:"Print the completion script for a shell."`
	Version    versionCmd    `cmd:"" help:"Print the version and the build date."`
}

type dirFlags struct {
	RunDir   string `name:"run-dir" placeholder:"DIR" help:"Where the status is published (default: /run/noonmark, or the user's own run directory)."`
	StateDir string `name:"state-dir" placeholder:"DIR" help:"Where what is learned is kept (default: /var/lib/noonmark, or the user's own state directory)."`
}

type runCmd struct {
	dirFlags
	Config    string   `placeholder:"FILE" help:"Settings (default: /etc/noonmark/noonmark.toml, if it is there)."`
	Device    string   `placeholder:"DEVICE" help:"Receiver: auto, a path, tcp://host:port or udp://:10110."`
	Baud      int      `placeholder:"N" help:"Speed of the receiver's port, bits a second; 0 = find it."`
	LatencyS  float64  `name:"latency-s" placeholder:"SECONDS" help:"How late the receiver's sentences arrive, if you know it; 0 = learn it."`
	RTC       string   `name:"rtc" placeholder:"DEVICE" help:"Hardware clock: auto, a path, or none."`
	Server    []string `placeholder:"HOST" help:"Time server to ask when there is a network; may be repeated."`
	InUse     string   `name:"in-use" placeholder:"MODE" help:"Mode in use, such as FT8."`
	AllowDisk bool     `name:"allow-disk" help:"Publish even if the run directory is not in memory (wears an SD card)."`
	Verbose   bool     `short:"v" help:"Log more."`
}

type demoCmd struct {
	For      time.Duration `placeholder:"TIME" help:"Stop after so much simulated time, such as 10m (default: the story's end)."`
	Speed    float64       `default:"60" help:"Simulated seconds in a real one; 0 = as fast as possible."`
	Scenario string        `default:"camp" help:"Which story: camp, first-night, no-receiver, liar, stepped."`
	Seed     uint64        `default:"1" help:"Number that fixes the random events of the story."`
	JSON     bool          `name:"json" help:"Print one JSON status a simulated minute."`
}

type replayCmd struct {
	Files []string `arg:"" name:"FILE" help:"Recorded sentences."`
	JSON  bool     `name:"json" help:"Print JSON."`
}

type readyCmd struct {
	Modes  []string `arg:"" optional:"" name:"MODE" help:"Modes to ask for, such as FT8 (default: the mode in use, else all shown)."`
	JSON   bool     `name:"json" help:"Print JSON."`
	RunDir string   `name:"run-dir" placeholder:"DIR" help:"Where the status is published."`
}

type whyCmd struct {
	JSON   bool   `name:"json" help:"Print JSON."`
	RunDir string `name:"run-dir" placeholder:"DIR" help:"Where the status is published."`
}

type gridCmd struct {
	Place  []string `arg:"" optional:"" name:"PLACE" help:"Locator, or latitude and longitude: FG69GU18, -20.13,-67.49 (default: the present place)."`
	Length int      `default:"10" help:"Characters of the locator: 2, 4, 6, 8 or 10."`
	JSON   bool     `name:"json" help:"Print JSON."`
	RunDir string   `name:"run-dir" placeholder:"DIR" help:"Where the status is published."`
}

type pathCmd struct {
	To     string `arg:"" name:"TO" help:"Where to: locator or latitude,longitude."`
	From   string `arg:"" optional:"" name:"FROM" help:"Where from (default: the present place)."`
	JSON   bool   `name:"json" help:"Print JSON."`
	RunDir string `name:"run-dir" placeholder:"DIR" help:"Where the status is published."`
}

type portsCmd struct {
	JSON  bool   `name:"json" help:"Print JSON."`
	Probe string `placeholder:"PORT" help:"Open this port and listen for a receiver. Opening raises its lines and can key a transmitter: asks first."`
	Yes   bool   `help:"With --probe: the port is no transmitter's; do not ask."`
}

type completionCmd struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}

type versionCmd struct {
	JSON bool `name:"json" help:"Print JSON."`
}

const about = `Tells whether this computer's clock is inside the tolerance of weak-signal
timed modes, how it knows, how long that will last, and where the station is.

  noonmark demo                      the whole job on a simulated station
  noonmark ready FT8 && ./transmit   key up only if the clock is right
  noonmark grid -20.13,-67.49        a place in every form
  noonmark path FG69 JN58            distance and beam headings

Not for navigation. In distress give coordinates, not only a locator.`

// usageError is a mistake in what was typed: exit 2.
type usageError struct{ err error }

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }

// exitHelp ends kong when it has printed help.
type exitHelp int

// parse reads the command line. It returns the command's name and its fields;
// done says that help was printed.
func parse(args []string, out, errOut io.Writer) (u *usage, command string, done bool, err error) {
	u = &usage{}
	k, err := kong.New(u, kong.Name("noonmark"), kong.Description(about), kong.Writers(out, errOut),
		kong.Exit(func(code int) { panic(exitHelp(code)) }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, NoExpandSubcommands: true, WrapUpperBound: 80}))
	if err != nil {
		return nil, "", false, fmt.Errorf("command line: %w", err)
	}
	defer func() {
		if r := recover(); r != nil {
			if _, ok := r.(exitHelp); !ok {
				panic(r)
			}
			done = true
		}
	}()
	if len(args) == 0 {
		args = []string{"--help"}
	}
	ctx, err := k.Parse(negatives(args))
	if err != nil {
		var pe *kong.ParseError
		if errors.As(err, &pe) && pe.Context != nil && pe.Context.Command() != "" {
			return nil, "", false, usageError{fmt.Errorf("%w; try: noonmark %s --help", err, strings.Fields(pe.Context.Command())[0])}
		}
		return nil, "", false, usageError{fmt.Errorf("%w; try: noonmark --help", err)}
	}
	return u, strings.Fields(ctx.Command())[0], false, nil
}

// negatives moves flags before the rest once an argument looks like a negative
// number, so that "grid -20.13,-67.49 --json" works as typed: all that begins
// with a minus and a digit or point is a place, never a flag.
func negatives(args []string) []string {
	any := false
	var flags, places []string
	for i := 0; i < len(args); i++ {
		a := args[i]
		switch {
		case a == "--":
			places = append(places, args[i+1:]...)
			i = len(args)
		case len(a) > 1 && a[0] == '-' && strings.ContainsRune("0123456789.", rune(a[1])):
			any = true
			places = append(places, a)
		case len(a) > 1 && a[0] == '-':
			flags = append(flags, a)
			if takesValue(a) && i+1 < len(args) {
				i++
				flags = append(flags, args[i])
			}
		default:
			places = append(places, a)
		}
	}
	if !any || len(places) == 0 {
		return args
	}
	// The command comes first, then its flags, then everything that is no flag.
	out := append([]string{places[0]}, flags...)
	return append(append(out, "--"), places[1:]...)
}

// takesValue: the flags of grid and path that are followed by a value.
func takesValue(flag string) bool { return flag == "--length" || flag == "--run-dir" }
