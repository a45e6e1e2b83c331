package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"noonmark/cmd/internal/exit"
)

// TestReadmeTranscripts runs the commands of the README and holds what it shows
// to what they print: each line, in order.
func TestReadmeTranscripts(t *testing.T) {
	t.Chdir("../..") // files are named from there
	b, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	// Commands that read what the service publishes find a status of the camp.
	user := t.TempDir()
	t.Setenv("XDG_RUNTIME_DIR", user)
	keepPublished(t, filepath.Join(user, "noonmark"), atCamp)
	n := 0
	for _, part := range strings.Split(string(b), "<!-- transcript: ")[1:] {
		args, rest, ok := strings.Cut(part, " -->")
		shown, _, ok2 := strings.Cut(rest, "<!-- end -->")
		if !ok || !ok2 {
			t.Fatalf("transcript without an end: %.40q", part)
		}
		n++
		code, out, errOut := runArgs(strings.Fields(args)...)
		if code != exit.OK {
			t.Errorf("noonmark %s: exit %d\n%s", args, code, errOut)
		}
		for line := range strings.Lines(shown) {
			line = strings.TrimPrefix(strings.TrimRight(line, "\n"), "    ")
			if line == "" {
				continue
			}
			_, after, found := strings.Cut(out, line+"\n")
			if !found {
				t.Fatalf("noonmark %s does not print (at this place):\n%s\nstill to come:\n%.600s", args, line, out)
			}
			out = after
		}
	}
	if n < 2 {
		t.Errorf("%d transcripts found", n)
	}
}

// TestReadmeRefusals holds the README to what is printed where a place is refused.
func TestReadmeRefusals(t *testing.T) {
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args  []string
		input string
		code  int
	}{
		{[]string{"grid", "20°67.8'S 67°29.4'W"}, "", exit.Misuse},
		{[]string{"path", "--list", "-", "FG69gu"}, "FG68qb # well\nFG6X\nJN58td\n", exit.No},
	} {
		var out, errOut strings.Builder
		if code := run(t.Context(), c.args, strings.NewReader(c.input), &out, &errOut); code != c.code {
			t.Errorf("%v: exit %d, want %d", c.args, code, c.code)
		}
		for line := range strings.Lines(out.String() + errOut.String()) {
			if !strings.Contains(string(b), "\n    "+line) {
				t.Errorf("%v prints this, which README.md does not have:\n%s", c.args, line)
			}
		}
	}
}
