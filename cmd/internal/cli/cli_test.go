package cli

import (
	"bytes"
	"errors"
	"os/exec"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"
)

func TestUsageErrors(t *testing.T) {
	tests := []struct {
		name, args, problem, remedy string
	}{
		{"nothing", "", "which command", "noonmark demo"},
		{"no such command", "reddy", `did you mean "noonmark ready"?`, "noonmark --help"},
		{"nothing like a command", "xyzzyfoo", `there is no command "xyzzyfoo"`, "noonmark --help"},
		{"a speed is missing", "demo --speed", "--speed: what? A value is missing", "demo --help"},
		{"a name is missing", "run --mode", "--mode: what? A value is missing", "run --help"},
		{"a server is missing", "run --server", "--server: what? A value is missing", "run --help"},
		{"only a flag", "--json", "unknown flag --json", "noonmark --help"},
		{"typo in a flag", "ready --jsn", `did you mean "--json"`, "noonmark ready --help"},
		{"stray argument", "why now", "unexpected argument now", "noonmark why --help"},
		{"no file", "replay", "missing <file>", "noonmark replay --help"},
		{"bare number for a time", "demo --for 10", `--for: "10" is not a length of time`, "10m"},
		{"negative time", "demo --for -10m", `--for: "-10m" is not a length`, "10m"},
		{"negative time, one word", "demo --for=-10m", "must not be negative", "demo --help"},
		{"negative speed", "demo --speed -1", `--speed: "-1" is not a number`, "demo --help"},
		{"negative speed, one word", "demo --speed=-1", "0 to 1000000", "demo --help"},
		{"speed that is no number", "demo --speed NaN", "0 to 1000000", "demo --help"},
		{"negative baud", "run --baud -9600", `--baud: "-9600" is not a whole number`, "run --help"},
		{"latency of ten minutes", "run --latency-s 600", "0 to 2", "run --help"},
		{"latency that is no number", "run --latency-s NaN", "0 to 2", "run --help"},
		{"version and more", "--version now", "unexpected argument now", "version --help"},
		{"version of a command", "ready --version", "unknown flag --version", "ready --help"},
		{"odd locator", "grid FG69 --length 5", "2, 4, 6, 8 or 10", "grid --help"},
		{"value missing", "run --config", "--config", "run --help"},
		{"CSV of one path", "path FG69 --csv", "--list", "path --help"},
		{"two recordings at one instant", "hear --at 2031-02-03T04:05:15Z a.wav b.wav", "one recording", "hear --help"},
		{"an instant of no recording", "hear --at 2031-02-03T04:05:15Z", "one recording", "hear --help"},
		{"two forms", "path --list - --csv --json", "choose one", "path --help"},
		{"CSV of one place", "grid FG69 --csv", "--track", "grid --help"},
		{"two forms of a track", "grid --track a --csv --gpx", "choose one", "grid --help"},
		{"a track and a place", "grid FG69 --track a", "--track FILE and a place", "grid --help"},
		{"no such shell", "completion tcsh", "bash", "completion --help"},
		{"yes to nothing", "ports --yes", "--probe", "ports --help"},
		{"negative length of a report, one word", "report --fit=-4", "number of characters", "report --help"},
		{"negative for a command that takes none", "why -20.13", "unexpected argument -20.13", "why --help"},
		{"negative for a flag that takes a number", "grid --length -4", "-4", "grid --help"},
		{"after the end of flags", "why -- -20.13", "unexpected argument -20.13", "why --help"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var out, errOut bytes.Buffer
			_, command, err := Parse(strings.Fields(tt.args), &out, &errOut)
			var u *UsageError
			if !errors.As(err, &u) {
				t.Fatalf("%q, %v: no usage error", command, err)
			}
			if !strings.Contains(u.Problem, tt.problem) || !strings.Contains(u.Remedy, tt.remedy) {
				t.Errorf("%q / %q, want …%s… / …%s…", u.Problem, u.Remedy, tt.problem, tt.remedy)
			}
			if s := errOut.String(); !strings.Contains(s, u.Problem) || strings.ContainsAny(s, "\x00") || strings.Contains(s, `\x00`) {
				t.Errorf("told: %q", s)
			}
			if out.Len() != 0 {
				t.Errorf("printed: %q", out.String())
			}
		})
	}
}

// A word between bars is one argument.
func words(s string) []string {
	var out []string
	for i, part := range strings.Split(s, "|") {
		if i%2 == 1 {
			out = append(out, part)
		} else {
			out = append(out, strings.Fields(part)...)
		}
	}
	return out
}

func TestPlaces(t *testing.T) {
	tests := []struct {
		args    string
		command string
		place   string // of grid
		words   string // of path, with bars between
		json    bool
		length  int
	}{
		{args: "grid", command: "grid"},
		{args: "grid FG69", command: "grid", place: "FG69"},
		{args: "grid -20.13,-67.49", command: "grid", place: "-20.13,-67.49"},
		{args: "grid -20.13 -67.49", command: "grid", place: "-20.13 -67.49"},
		{args: "grid |-20.13 -67.49|", command: "grid", place: "-20.13 -67.49"},
		{args: "grid -20.13, -67.49", command: "grid", place: "-20.13, -67.49"},
		{args: "grid -.5 -.25", command: "grid", place: "-.5 -.25"},
		{args: "grid -0,-0", command: "grid", place: "-0,-0"},
		{args: "grid --json -20.13,-67.49", command: "grid", place: "-20.13,-67.49", json: true},
		{args: "grid -20.13,-67.49 --json", command: "grid", place: "-20.13,-67.49", json: true},
		{args: "grid -20.13 -67.49 --length 6 --json", command: "grid", place: "-20.13 -67.49", json: true, length: 6},
		{args: "grid --length=6 -20.13 -67.49", command: "grid", place: "-20.13 -67.49", length: 6},
		{args: "grid --json -- -20.13 -67.49", command: "grid", place: "-20.13 -67.49", json: true},
		{args: "grid -20°7'48\" -67°29'24\"", command: "grid", place: "-20°7'48\" -67°29'24\""},
		{args: "grid 19K 657834 7773338", command: "grid", place: "19K 657834 7773338"},
		{args: "grid geo:-20.13,-67.49", command: "grid", place: "geo:-20.13,-67.49"},
		{args: "path -20.13,-67.49 FG69", command: "path", words: "-20.13,-67.49|FG69"},
		{args: "path -20.13, -67.49 48.1 11.5", command: "path", words: "-20.13,|-67.49|48.1|11.5"},
		{args: "path --json -33.45,-70.66 |-20.13 -67.49|", command: "path", words: "-33.45,-70.66|-20.13 -67.49", json: true},
		{args: "report --to -20.46,-66.82 --fit 40 --template {{.Locator}}", command: "report"},
		{args: "path --list - -20.13,-67.49", command: "path", words: "-20.13,-67.49"},
	}
	for _, tt := range tests {
		t.Run(tt.args, func(t *testing.T) {
			var out, errOut bytes.Buffer
			c, command, err := Parse(words(tt.args), &out, &errOut)
			if err != nil || command != tt.command {
				t.Fatalf("%q, %v", command, err)
			}
			if got := c.Grid.Place(); got != tt.place {
				t.Errorf("place %q, want %q", got, tt.place)
			}
			if got := strings.Join(c.Path.Words, "|"); got != tt.words {
				t.Errorf("words %q, want %q", got, tt.words)
			}
			if got := c.Grid.JSON || c.Path.JSON; got != tt.json {
				t.Errorf("json %v", got)
			}
			if c.Grid.Length != tt.length {
				t.Errorf("length %d", c.Grid.Length)
			}
		})
	}
}

// --version is the command of that name, with its flags.
func TestVersionFlag(t *testing.T) {
	for args, json := range map[string]bool{"--version": false, "version": false, "--version --json": true} {
		c, command, err := Parse(strings.Fields(args), &bytes.Buffer{}, &bytes.Buffer{})
		if err != nil || command != "version" || c.Version.JSON != json {
			t.Errorf("%s: %q, %+v, %v", args, command, c, err)
		}
	}
	for shell, want := range map[string]string{"bash": " --version'", "zsh": "'--version:", "fish": "-l version\n"} {
		if s := script(model(t), shell); !strings.Contains(s, want) {
			t.Errorf("%s does not complete --version", shell)
		}
	}
}

func TestFlags(t *testing.T) {
	parsed := func(args string) *CLI {
		t.Helper()
		c, _, err := Parse(strings.Fields(args), &bytes.Buffer{}, &bytes.Buffer{})
		if err != nil {
			t.Fatalf("%s: %v", args, err)
		}
		return c
	}
	if r := parsed("run").Run; !reflect.DeepEqual(r, Run{}) {
		t.Errorf("run without flags sets %+v", r)
	}
	c := parsed("run --config a.toml --device udp://:10110 --baud 0 --rtc /dev/rtc1 --server a --server [::1]:5 " +
		"--mode FT8 --run-dir /tmp/r --state-dir -1 --allow-disk --latency-s 0.2 -v --json")
	zero := 0
	want := Run{Config: "a.toml", Device: "udp://:10110", Baud: &zero, RTC: "/dev/rtc1", Server: []string{"a", "[::1]:5"},
		Mode: "FT8", RunDir: "/tmp/r", StateDir: "-1", AllowDisk: true, Latency: 0.2, Verbose: true, JSON: true}
	if !reflect.DeepEqual(c.Run, want) {
		t.Errorf("\n got %+v\nwant %+v", c.Run, want)
	}
	d := parsed("demo --for 1h30m --speed 60 --scenario x --seed 7 --json").Demo
	if d.For != 90*time.Minute || d.Speed != 60 || d.Scenario != "x" || d.Seed != 7 || !d.JSON {
		t.Errorf("%+v", d)
	}
	if d := parsed("demo").Demo; d.For != 0 || d.Speed != 1 || d.Seed != 1 {
		t.Errorf("%+v", d)
	}
	if r := parsed("ready FT8 JS8-15 --run-dir /tmp/r").Ready; len(r.Modes) != 2 || r.Modes[1] != "JS8-15" || r.RunDir != "/tmp/r" {
		t.Errorf("%+v", r)
	}
	if r := parsed("replay a b,c --mode FT8 --mode FT4").Replay; len(r.Files) != 2 || r.Files[1] != "b,c" || len(r.Mode) != 2 {
		t.Errorf("%+v", r)
	}
	if p := parsed("ports --probe /dev/ttyUSB0 --yes").Ports; p.Probe != "/dev/ttyUSB0" || !p.Yes {
		t.Errorf("%+v", p)
	}
}

// model returns the grammar as kong sees it.
func model(t *testing.T) *kong.Application {
	t.Helper()
	k, err := parser(new(CLI), &bytes.Buffer{}, func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	return k.Model
}

func TestEverythingIsDescribed(t *testing.T) {
	app := model(t)
	var names []string
	for _, n := range app.Children {
		names = append(names, n.Name)
		if !strings.HasSuffix(n.Help, ".") && !strings.HasSuffix(n.Help, "?") || len(n.Help) > 78 {
			t.Errorf("%s: help %q", n.Name, n.Help)
		}
		json := n.Name == "completion" || n.Name == "screen" // one is for a shell, one for eyes
		for _, w := range flags(n) {
			if !strings.HasSuffix(w.help, ".") && w.text != "--help" {
				t.Errorf("%s %s: help %q", n.Name, w.text, w.help)
			}
			json = json || w.text == "--json"
		}
		if !json {
			t.Errorf("%s has no --json", n.Name)
		}
		for _, p := range n.Positional {
			if p.Help == "" {
				t.Errorf("%s %s: no help", n.Name, p.Name)
			}
		}
		if n.Name != "version" && !strings.Contains(n.Detail, "noonmark "+n.Name) {
			t.Errorf("%s: no example", n.Name)
		}
	}
	if got := strings.Join(names, " "); got != "run demo replay ready grid path report why screen mark hear until prepare preflight resume pin follow ports version completion" {
		t.Errorf("commands: %s", got)
	}
	if strings.Join(names, " ") != strings.Join(commandNames(), " ") {
		t.Errorf("commandNames: %v", commandNames())
	}
}

// The examples in the help are what a newcomer types first: each must be
// understood.
func TestExamplesWork(t *testing.T) {
	text := about
	for _, n := range model(t).Children {
		text += "\n" + n.Detail
	}
	tried := 0
	for _, line := range strings.Split(text, "\n") {
		line, ok := strings.CutPrefix(line, "  ")
		line = strings.TrimSpace(line)
		if !ok || !strings.HasPrefix(line, "noonmark ") {
			continue
		}
		for _, end := range []string{"   ", " && ", " > "} {
			line, _, _ = strings.Cut(line, end)
		}
		tried++
		if _, _, err := Parse(strings.Fields(line)[1:], &bytes.Buffer{}, &bytes.Buffer{}); err != nil {
			t.Errorf("%s: %v", line, err)
		}
	}
	if tried < 20 {
		t.Errorf("only %d examples found", tried)
	}
}

func TestHelp(t *testing.T) {
	tests := map[string][]string{
		"--help":            {"noonmark demo", "May I key up?", "only watches the clock"},
		"help":              {"noonmark demo"},
		"replay --help":     {"Usage: noonmark replay <file> ...", "--mode=MODE"},
		"path --help":       {"noonmark path -20.13,-67.49 FG69"},
		"ready --help":      {"Exit status", "noonmark ready FT8"},
		"grid -20 --help":   {"noonmark grid -20.13 -67.49"},
		"completion --help": {"source <(noonmark completion bash)"},
		"demo -h":           {"FG69", "--speed=N"},
		"run -h":            {"--allow-disk", "--state-dir=DIR"},
	}
	for args, want := range tests {
		var out, errOut bytes.Buffer
		_, command, err := Parse(strings.Fields(args), &out, &errOut)
		if err != nil || command != "" || errOut.Len() != 0 {
			t.Errorf("%s: %q, %v, %q", args, command, err, errOut.String())
		}
		for _, w := range want {
			if !strings.Contains(out.String(), w) {
				t.Errorf("%s: %q is not in\n%s", args, w, out.String())
			}
		}
	}
}

func TestCompletionKnowsEverything(t *testing.T) {
	app := model(t)
	for _, shell := range []string{"bash", "zsh", "fish"} {
		var out bytes.Buffer
		if _, command, err := Parse([]string{"completion", shell}, &out, &bytes.Buffer{}); err != nil || command != "" {
			t.Fatalf("%s: %q, %v", shell, command, err)
		}
		for _, n := range app.Children {
			if !strings.Contains(out.String(), n.Name) {
				t.Errorf("%s: command %s is missing", shell, n.Name)
			}
			for _, w := range flags(n) {
				text := w.text
				if shell == "fish" {
					text = "-l " + strings.TrimPrefix(text, "--") + "\n"
				}
				if !strings.Contains(out.String(), text) {
					t.Errorf("%s: %s %s is missing", shell, n.Name, w.text)
				}
			}
		}
		// The shell's own word on the script's grammar, where it is installed.
		path, err := exec.LookPath(shell)
		if err != nil {
			t.Logf("%s is not installed: its script is not run", shell)
			continue
		}
		check := exec.Command(path, "-n")
		check.Stdin = &out
		if msg, err := check.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", shell, err, msg)
		}
	}
}

func TestBashCompletes(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("bash is not installed")
	}
	for typed, want := range map[string]string{
		"noonmark re":             "replay ready report resume",
		"noonmark --":             "--help --version",
		"noonmark ready --j":      "--json",
		"noonmark run --al":       "--allow-disk",
		"noonmark completion ":    "bash zsh fish --help",
		"noonmark replay nig":     "", // file names, by the shell itself
		"noonmark grid -20.13 --": "--help --length --track --csv --gpx --miles --at --neighbours --demo --run-dir --json",
	} {
		words := strings.Split(typed, " ")
		cmd := exec.Command(bash, "-c", script(model(t), "bash")+`
COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _noonmark; echo "${COMPREPLY[*]}"`, "bash")
		cmd.Args = append(cmd.Args, words...)
		got, err := cmd.CombinedOutput()
		if err != nil || strings.TrimSpace(string(got)) != want {
			t.Errorf("%q: got %q, want %q (%v)", typed, strings.TrimSpace(string(got)), want, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("grid -20.13,-67.49")
	f.Add("path -20.13 -67.49 FG69 --json")
	f.Add("demo --for 10m --speed 60")
	f.Add("run --baud -1 -- -2")
	f.Fuzz(func(t *testing.T, line string) {
		c, command, err := Parse(strings.Fields(line), &bytes.Buffer{}, &bytes.Buffer{})
		if err == nil && command != "" && c == nil {
			t.Error("neither a command nor an error")
		}
	})
}
