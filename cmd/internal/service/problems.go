package service

import (
	"strings"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss"
	"noonmark/status"
)

// othersEvery is how often what another process of the station cannot do is looked for.
const othersEvery = 10 * time.Second

// notKept notes that what is learned cannot be kept; nil: it can.
func (s *service) notKept(err error) {
	if s.lost = ""; err != nil {
		s.lost = "What noonmark learns cannot be kept: " + strings.TrimPrefix(err.Error(), "keep: ") + ". Make the state directory writable, or make room there."
		s.warn("learned state", s.lost)
		return
	}
	delete(s.said, "learned state")
}

// problems is what cannot be done now, for the status.
func (s *service) problems(local timescale.Local) []status.Problem {
	if s.othersAt == 0 || local.Sub(s.othersAt) >= othersEvery {
		s.othersAt = local
		s.others = status.OtherProblems(s.publish.Dir())
	}
	var out []status.Problem
	if s.lost != "" {
		out = append(out, status.Problem{Kind: status.ProblemNotKept, Text: s.lost})
	}
	return append(out, s.others...)
}

// tellProblems logs each problem once.
func (s *service) tellProblems(snap *status.Snapshot) {
	for _, p := range snap.Problems {
		if p.Kind != status.ProblemNotKept { // said when it came
			s.warn("problem: "+p.Kind, p.Text)
		}
	}
}

// logEpoch logs an epoch as the receiver said it.
func (s *service) logEpoch(e *gnss.Epoch) {
	utc, dated := e.UTC()
	said := "no date"
	if dated {
		said = utc.Time().Format("2006-01-02T15:04:05.000Z")
	} else if e.HasTime {
		said = e.TimeOfDay.String() + " since 00:00 UTC, no date"
	}
	s.log.Debug("epoch", "utc", said, "status", letter(e.Status), "quality", e.Quality, "arrived_local_s", e.Arrival.Sub(0).Seconds())
}

func letter(b byte) string {
	if b == 0 {
		return "none"
	}
	return string(rune(b))
}
