package page

import (
	"fmt"
	"math"
	"strings"

	"noonmark/status"
)

// inWords says what the picture shows.
func inWords(c chart, spanS float64) string {
	var b strings.Builder
	lo, hi := math.Inf(1), math.Inf(-1)
	holes, over := 0, 0
	for _, q := range c.points {
		if math.IsNaN(float64(q.low)) {
			holes++
			continue
		}
		lo, hi = min(lo, float64(q.low)), max(hi, float64(q.high))
		if max(-float64(q.low), float64(q.high)) > c.mode.ToleranceS {
			over++
		}
	}
	switch {
	case len(c.points) < 2:
		b.WriteString("The record has only begun. ")
	case holes == len(c.points):
		b.WriteString("Nothing was known of the clock's error so far. ")
	default:
		fmt.Fprintf(&b, "In the last %s the clock was between %s and %s, worst case included; %s allows %s s. ",
			status.Span(spanS), signed(lo), signed(hi), status.Clean(c.mode.Mode), plain(c.mode.ToleranceS))
		fmt.Fprintf(&b, "It was good for %d %% of that time. ", 100*(len(c.points)-holes-over)/len(c.points))
	}
	if c.mode.Verdict == status.Within && c.mode.GoodForS.OK {
		fmt.Fprintf(&b, "If every source fell silent now, it would stay good for %s.", status.Span(c.mode.GoodForS.V))
	}
	return strings.TrimSpace(b.String())
}

func signed(v float64) string { return minus(fmt.Sprintf("%+.2f s", v)) }
