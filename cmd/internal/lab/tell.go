package lab

import (
	"fmt"
	"io"
	"strings"
	"time"

	"noonmark/status"
)

// Teller returns a Trace that prints what changes: verdicts, basis, trust, events.
func Teller(out io.Writer) Trace {
	last, lastTrust, lastEvent := "", map[string]string{}, ""
	return func(at time.Duration, truth float64, s *status.Snapshot) {
		var modes []string
		for _, m := range s.Modes {
			modes = append(modes, m.Mode+" "+m.Verdict)
		}
		if head := s.Clock.Basis + ": " + strings.Join(modes, ", ") + "; proved " + strings.Join(s.Clock.Proved, " "); head != last {
			last = head
			fmt.Fprintf(out, "%9s  %s\n           error %+.3f s, guard %.3f s, truth %+.3f s\n", at.Truncate(time.Second), head,
				s.Clock.ErrorS.V, s.Clock.GuardS.V, truth)
		}
		for _, r := range s.References {
			if lastTrust[r.Name] != r.Trust {
				lastTrust[r.Name] = r.Trust
				fmt.Fprintf(out, "%9s  %s is %s: %s\n", at.Truncate(time.Second), r.Name, r.Trust, r.Because)
			}
		}
		news := len(s.Events)
		for news > 0 && s.Events[news-1].Kind+s.Events[news-1].Text != lastEvent {
			news--
		}
		for _, e := range s.Events[news:] {
			lastEvent = e.Kind + e.Text
			fmt.Fprintf(out, "%9s  (%s) %s\n", at.Truncate(time.Second), e.Kind, e.Text)
		}
	}
}
