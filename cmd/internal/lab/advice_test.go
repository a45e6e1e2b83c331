package lab

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

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
