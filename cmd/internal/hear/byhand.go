package hear

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/crowd"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
)

// byHand takes the offsets that the operator reads off for the others. Positive = they
// seem to come late = this computer's clock is fast.
func (h *hearer) byHand(c cli.Hear, m band.Mode) (int, error) {
	o, err := crowd.ByHand(c.Words, m.Name, m.Period, m.Doubt)
	switch {
	case errors.Is(err, crowd.ErrFew), errors.Is(err, crowd.ErrScattered):
		return exit.No, fmt.Errorf("hear: %w", err)
	case err != nil:
		return exit.Misuse, exit.Usage(fmt.Errorf("hear: %w", err))
	}
	if h.stepped != nil && !c.Check {
		if ago, ok := h.stepped(); ok {
			if err := crowd.AfterStep(ago); err != nil {
				return exit.No, fmt.Errorf("hear: %w", err)
			}
		}
	}
	p := h.sample()
	w := claim{source: "crowd", error: o.OffsetS - crowd.Delay, bound: o.BoundS, common: crowd.Floor + m.Doubt.Seconds(), modulo: m.Period, signals: o.Signals, at: p}
	return exit.OK, h.deliver(c, w)
}

// claim is what was heard, on its way to the service: at the instant of the pair the
// system clock was so far off.
type claim struct {
	source  string
	error   float64 // s: system clock − UTC
	bound   float64
	common  float64       // s: of the bound, what all readings of the source share
	modulo  time.Duration // 0 = wholly
	signals int
	at      pair
}

// sentence says it for a person, the sign in words.
func (w claim) sentence() string {
	who := "By " + w.source
	if w.source == "crowd" {
		who = fmt.Sprintf("By %d stations", w.signals)
	}
	word, come := "fast", "late"
	if w.error < 0 {
		word, come = "slow", "early"
	}
	s := fmt.Sprintf("%s this computer's clock is %.2f s %s ± %.2f s", who, math.Abs(w.error), word, w.bound)
	if w.source == "crowd" {
		s += fmt.Sprintf(" (a clock that is %s has the others come %s)", word, come)
	}
	return s + "."
}

func say(out io.Writer, format string, args ...any) { fmt.Fprintf(out, format+"\n", args...) }
