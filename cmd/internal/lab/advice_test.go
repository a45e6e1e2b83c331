package lab

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"noonmark/cmd/internal/screen"
	"noonmark/status"
)

// Every state that a scenario reaches has its advice: a step of its own, not the one for
// what nobody thought of. The first half hour of each is played; all of it with
// NOONMARK_LONG.
func TestEveryStateHasAdvice(t *testing.T) {
	if testing.Short() {
		t.Skip("the first half hour of every scenario takes long under the race detector")
	}
	paths, _ := filepath.Glob("../../../testdata/scenarios/*.scenario")
	if len(paths) < 70 {
		t.Fatalf("only %d scenarios", len(paths))
	}
	seen := map[string]string{}
	for _, path := range paths {
		c, err := Read(path)
		if err != nil {
			t.Fatal(err)
		}
		if !long {
			c.Length = min(c.Length, 30*time.Minute)
		}
		c.Play(1, 0, func(at time.Duration, _ float64, s *status.Snapshot) {
			for _, m := range s.Modes {
				adviceFor(t, c.Name, at, s, m, seen)
			}
		})
	}
	for k, v := range seen {
		t.Logf("%-50s %s", k, v)
	}
	if len(seen) < 25 {
		t.Errorf("only %d situations were reached", len(seen))
	}
}

func adviceFor(t *testing.T, name string, at time.Duration, s *status.Snapshot, m status.Mode, seen map[string]string) {
	receiver := ""
	for _, r := range s.References {
		if r.Kind == "gnss" {
			receiver = r.State
		}
	}
	key := fmt.Sprintf("%s %s receiver=%s steering=%s", m.Verdict, s.Clock.Basis, receiver, s.Clock.Steering)
	if _, done := seen[key]; done {
		return
	}
	narrow(t, name+" at "+at.String(), *s)
	a := status.Advise(s, []status.Mode{m})
	seen[key] = a.Kind + ": " + a.Text + " (" + name + ", " + at.String() + ", " + m.Mode + ")"
	switch {
	case a.Text == "" || strings.HasPrefix(a.Text, "To tell the time,"):
		t.Errorf("%s at %s, %s: no advice for %s", name, at, m.Mode, key)
	case a.Kind == status.AdviceNone && m.Verdict != status.Within:
		t.Errorf("%s at %s, %s: nothing to do for %s", name, at, m.Mode, key)
	case receiver == "second-soon" && a.Kind == status.AdviceWait && m.MarginS.V < 0 && s.Clock.Steering == "" && !a.WaitS.OK:
		t.Errorf("%s at %s, %s: a wait without an end: %s", name, at, m.Mode, a.Text)
	}
}

// narrow: at 40 columns no line of ready, why or screen is longer, no word is broken, and
// none is lost.
func narrow(t *testing.T, where string, s status.Snapshot) {
	const columns, wide = 40, 400
	s.Live, s.Written.BootID = true, "b"
	now := status.Now{BootID: "b", BoottimeS: s.Written.BoottimeS, System: s.Written.SystemUTC.V, AsleepS: s.Written.AsleepS}
	report, err := status.Ready(s, now, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []func(int) string{report.TextFor, s.Brief, s.WhyFor} {
		got := text(columns)
		for line := range strings.Lines(got) {
			if line = strings.TrimRight(line, "\n"); utf8.RuneCountInString(line) > columns {
				t.Errorf("%s: over %d columns: %q", where, columns, line)
			}
		}
		if a, b := strings.Join(strings.Fields(got), " "), strings.Join(strings.Fields(text(wide)), " "); a != b {
			t.Errorf("%s: a word is broken:\n%s", where, got)
		}
	}
	whole := map[string]bool{}
	for _, l := range screen.Picture(s, now, "", screen.Size{Columns: wide, Lines: 90}) {
		for _, w := range strings.Fields(l.Text) {
			whole[w] = true
		}
	}
	for _, l := range screen.Picture(s, now, "", screen.Size{Columns: columns, Lines: 90}) {
		for _, w := range strings.Fields(l.Text) {
			if !whole[w] && w != strings.ToUpper(w) { // capitals are the large letters' word
				t.Errorf("%s: screen: %q is broken: %q", where, w, l.Text)
			}
		}
		if utf8.RuneCountInString(l.Text) > columns {
			t.Errorf("%s: screen: over %d columns: %q", where, columns, l.Text)
		}
	}
}
