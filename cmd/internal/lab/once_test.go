package lab

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"noonmark/status"
)

// shape is a text without its numbers.
func shape(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsDigit(r) || strings.ContainsRune(".+-−", r) {
			return -1
		}
		return r
	}, text)
}

// An event is a change, said once: the same words do not come again within a minute, and
// a verdict does not flutter.
func TestEventsAreChanges(t *testing.T) {
	paths, _ := filepath.Glob("../../../testdata/scenarios/*.scenario")
	for _, path := range paths {
		c, err := Read(path)
		if err != nil {
			t.Fatal(err)
		}
		if !long {
			if !slices.Contains([]string{"third-decides", "noisy-line", "liar-among-servers", "false-signal-jump", "two-servers-disagree", "stepped-while-steered"}, c.Name) {
				continue
			}
			c.Length = min(c.Length, 40*time.Minute)
		}
		repeated, flutter := map[string]int{}, map[string]int{}
		last := map[string]status.Time{}
		seen := map[string]bool{}
		was, changed := map[string]string{}, map[string]time.Duration{}
		c.Play(1, 0, func(at time.Duration, _ float64, s *status.Snapshot) {
			for _, e := range s.Events {
				key := e.Kind + " " + e.Text + e.UTC.V.Time().Format(time.RFC3339)
				if seen[key] {
					continue
				}
				seen[key] = true
				k := e.Kind + ": " + shape(e.Text)
				if before, ok := last[k]; ok && e.UTC.V.Sub(before.V) < time.Minute {
					repeated[k]++
				}
				last[k] = e.UTC
			}
			for _, m := range s.Modes {
				if was[m.Mode] != m.Verdict {
					if at-changed[m.Mode] < 2*time.Second && was[m.Mode] != "" && m.Verdict != status.Within && was[m.Mode] != status.Unknown && m.Verdict != status.Unknown && was[m.Mode] != status.Within {
						flutter[m.Mode]++
					}
					was[m.Mode], changed[m.Mode] = m.Verdict, at
				}
			}
		})
		for k, n := range repeated {
			if time.Duration(n)*3*time.Minute > c.Length { // a noisy line loses its receiver again and again
				t.Errorf("%s: said %d times: %s", c.Name, n+1, k)
			}
		}
		for m, n := range flutter {
			if n > 2 {
				t.Errorf("%s: %s fluttered %d times between outside and borderline", c.Name, m, n)
			}
		}
	}
}
