package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"noonmark/cmd/internal/exit"
)

// readerTexts is the README and the pages it leads to, in the reader's order. The working
// directory is the project's.
func readerTexts(t *testing.T) string {
	t.Helper()
	pages, err := filepath.Glob("packaging/doc/*.md")
	if err != nil || len(pages) < 7 {
		t.Fatalf("%d pages, %v", len(pages), err)
	}
	all := ""
	for _, path := range append([]string{"README.md"}, pages...) {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		all += string(b)
	}
	return all
}

// The README is short, and every file it names is there.
func TestReadmeIsShort(t *testing.T) {
	t.Chdir("../..")
	b, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	if n := len(strings.Fields(string(b))); n > 1500 {
		t.Errorf("%d words", n)
	}
	for _, m := range regexp.MustCompile(`\]\(([^)]+)\)`).FindAllStringSubmatch(readerTexts(t), -1) {
		path, _, _ := strings.Cut(m[1], "#")
		_, errHere := os.Stat(path)
		_, errThere := os.Stat(filepath.Join("packaging/doc", path))
		if errHere != nil && errThere != nil && !strings.Contains(path, "://") {
			t.Errorf("no %s", path)
		}
	}
}

// TestReadmeTranscripts runs the commands of the README and its pages and holds what
// they show to what is printed: each line, in order.
func TestReadmeTranscripts(t *testing.T) {
	t.Chdir("../..") // files are named from there
	text := readerTexts(t)
	// Commands that read what the service publishes find a status of the camp.
	user := t.TempDir()
	t.Setenv("XDG_RUNTIME_DIR", user)
	keepPublished(t, filepath.Join(user, "noonmark"), atCamp)
	right := t.TempDir()
	keepPublished(t, right, nil)
	n := 0
	for _, part := range strings.Split(text, "<!-- transcript: ")[1:] {
		args, rest, ok := strings.Cut(part, " -->")
		shown, _, ok2 := strings.Cut(rest, "<!-- end -->")
		if !ok || !ok2 {
			t.Fatalf("transcript without an end: %.40q", part)
		}
		n++
		words := strings.Fields(args)
		if words[0] == "ready" { // the clock of atCamp is years off
			words = append(words, "--run-dir", right)
		}
		code, out, errOut := runArgs(words...)
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
	t.Chdir("../..")
	b := readerTexts(t)
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
			if !strings.Contains(b, "\n    "+line) {
				t.Errorf("%v prints this, which README.md does not have:\n%s", c.args, line)
			}
		}
	}
}
