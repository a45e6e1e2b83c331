package preflight

import (
	"fmt"
	"time"

	"noonmark/cmd/internal/keep"
)

// oldLearned: what was learned so long ago is worth another evening at home. Crystals
// age, by some ppm a year (common practice, no source).
const oldLearned = 90 * 24 * time.Hour

// learned says in a line each what was learned, when, and what was not.
func (h *Host) learned() []Finding {
	const check = "learned"
	const evening = "Spend an evening with noonmark prepare."
	if h.State == "" {
		return nil // stateDir tells why
	}
	s, err := keep.Load(h.path(h.State))
	if err != nil {
		return []Finding{{check, Problem, "What was learned cannot be read: " + err.Error() + ".", evening}}
	}
	l := s.Learned
	if l.RateSigmaPPM == 0 && len(l.Latencies) == 0 && l.RTC == nil {
		return []Finding{{check, Note, "Nothing has been learned yet.", evening}}
	}
	var out []Finding
	add := func(known bool, is, not string) {
		if known {
			out = append(out, Finding{check, Good, is, ""})
		} else {
			out = append(out, Finding{check, Note, not, evening})
		}
	}
	const z99 = 2.576 // half-width of the 99 % interval of a normal distribution, in σ
	add(l.RateSigmaPPM > 0, fmt.Sprintf("The oscillator's rate: %+.2f ppm ± %.2f ppm (99 %%).", l.RatePPM, z99*l.RateSigmaPPM), "The oscillator's rate is not learned.")
	for _, r := range l.Latencies {
		add(true, fmt.Sprintf("The receiver is heard %.3f s late, ± %.3f s (99 %%): %s.", r.LatencyS, z99*r.SigmaS, r.Key), "")
	}
	if len(l.Latencies) == 0 {
		add(false, "", "How late the receiver is heard is not learned.")
	}
	if c := l.RTC; c != nil {
		at := c.At.Time()
		out = append(out, Finding{check, Good, "The hardware clock was compared on " + at.Format("2006-01-02 15:04") + " UTC.", ""})
		if h.Now.Sub(c.At) > oldLearned {
			out[len(out)-1] = Finding{check, Note, "The hardware clock was last compared on " + at.Format("2006-01-02") + ".", evening}
		}
	} else {
		add(false, "", "The hardware clock was never compared.")
	}
	if s.Receiver.Name != "" {
		out = append(out, Finding{check, Good, "The receiver is known by " + s.Receiver.Name + ".", ""})
	}
	return out
}
