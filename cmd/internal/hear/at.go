package hear

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
)

// stamp is the instant of a recording's first sample, by the clock that stamped it.
type stamp struct {
	at    timescale.UTC
	grain time.Duration // one unit of the last digit: nothing finer was said
}

const atForm = "2006-01-02T15:04:05"

// readAt reads an instant in UTC: to the second, or with up to nine digits more.
func readAt(text string) (s stamp, err error) {
	plain := strings.TrimSuffix(strings.TrimSpace(text), "Z")
	t, err := time.ParseInLocation(atForm, strings.Replace(plain, " ", "T", 1), time.UTC)
	_, digits, _ := strings.Cut(plain, ".")
	if err != nil || len(digits) > 9 {
		return s, fmt.Errorf("hear: --at %q is no instant in UTC. Write the first sample's, with as many digits as are true: --at 2031-02-03T04:05:15.0Z", text)
	}
	return stamp{timescale.UTCOf(t), time.Duration(math.Pow10(9 - len(digits)))}, nil
}

// into is how far into a mode's period the first sample lies, s.
func (s stamp) into(m band.Mode) float64 {
	return math.Mod(float64(s.at)/1e9, m.Period.Seconds())
}

// stamped is what a recording tells of the clock that stamped it.
type stamped struct {
	At      string  `json:"at"`
	ErrorS  float64 `json:"error_s"` // that clock − UTC
	BoundS  float64 `json:"bound_s"`
	ModuloS float64 `json:"modulo_s"` // the error is known but for multiples of this
	GrainS  float64 `json:"grain_s"`  // of the bound, what the instant leaves open
}

// by judges the clock that stamped a recording by what the recording holds; nil where
// that is nothing. No service learns of it: whether the system clock was the clock that
// stamped it, and was not set since, cannot be seen.
func (s stamp) by(f found, m band.Mode, c cli.Hear) *stamped {
	var w claim
	switch {
	case f.Crowd != nil:
		w = claim{error: f.crowd.OffsetS - crowd.Delay, bound: f.bound, modulo: m.Period}
	case f.Station != nil:
		h := *f.Station
		if h.Tells == "date" { // one reading of a code has no second that bears it out
			h.Tells = "minute"
		}
		delay, bound := way(c, h.Name)
		sent := s.at.Add(seconds(h.OffsetS-radioDelay) - delay)
		w = claim{error: math.Mod(float64(sent)/1e9, h.modulo().Seconds()), bound: h.BoundS + radioBound + bound.Seconds(), modulo: h.modulo()}
	default:
		return nil
	}
	return &stamped{At: s.at.Time().Format(time.RFC3339Nano), ErrorS: round(math.Remainder(w.error, w.modulo.Seconds()), 3),
		BoundS: round(w.bound+s.grain.Seconds(), 3), ModuloS: w.modulo.Seconds(), GrainS: s.grain.Seconds()}
}

// show says it for a person, the sign in words.
func (s *stamped) show(out io.Writer) {
	word := "fast"
	if s.ErrorS < 0 {
		word = "slow"
	}
	fmt.Fprintf(out, "  The clock that gave %s was %.2f s %s ± %.2f s, but for multiples of %g s.", s.At, math.Abs(s.ErrorS), word, s.BoundS, s.ModuloS)
	if s.GrainS >= 0.1 {
		fmt.Fprintf(out, " The instant is given to %g s, which is in the ±.", s.GrainS)
	}
	fmt.Fprint(out, "\n  The service learns nothing from a recording: to tell it, listen, or type offsets (--offsets).\n")
}
