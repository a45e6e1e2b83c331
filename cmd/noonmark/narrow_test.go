package main

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/creack/pty"

	"noonmark/status"
)

var command = regexp.MustCompile(`\x1b\[[0-9;?]*[A-Za-z]`)

// On 40 columns no line is longer and no word is broken; colours come on a terminal, not
// with NO_COLOR, and the shape stays.
func TestFortyColumns(t *testing.T) {
	user := t.TempDir()
	keepPublished(t, filepath.Join(user, "noonmark"), func(s *status.Snapshot) {
		atCamp(s)
		s.References = []status.Reference{{Name: "receiver", Kind: "gnss", Trust: status.Warming, State: "second-soon",
			Because: "The whole second is not confirmed yet: leap-second data may be missing for another 14 min."}}
		s.Clock.SecondInS = status.Known(800)
		s.Clock.ErrorS = status.Known(0.02)
		s.Modes[0].Verdict = status.Borderline
	})
	for _, args := range []string{"ready", "why", "why --all", "grid", "preflight", "prepare --once", "path FF46"} {
		for _, colour := range []string{"NO_COLOR=", "NO_COLOR=1"} {
			t.Run(args+" "+colour, func(t *testing.T) {
				t.Parallel()
				p := startOnTerminalOf(t, &pty.Winsize{Rows: 24, Cols: 40}, []string{"XDG_RUNTIME_DIR=" + user, "TERM=xterm", colour}, strings.Fields(args)...)
				p.cmd.Wait()
				<-p.done
				text := p.text()
				if coloured := strings.Contains(text, "\x1b[1;"); coloured != (args == "ready" && colour == "NO_COLOR=") {
					t.Errorf("coloured %v: %q", coloured, text)
				}
				if args == "ready" && !strings.Contains(text, "[?] ") {
					t.Errorf("no shape: %q", text)
				}
				for line := range strings.Lines(strings.ReplaceAll(command.ReplaceAllString(text, ""), "\r", "\n")) {
					line = strings.TrimRight(line, "\n")
					if utf8.RuneCountInString(line) > 40 && strings.Contains(strings.TrimSpace(line), " ") {
						t.Errorf("over 40 columns: %q", line)
					}
				}
				for _, word := range []string{"noonmark", "confirmed", "borderline"} {
					flat := strings.ReplaceAll(strings.ReplaceAll(text, "\r\n", ""), " ", "")
					if n := strings.Count(flat, word); n != strings.Count(text, word) {
						t.Errorf("%q is broken:\n%s", word, text)
					}
				}
			})
		}
	}
}
