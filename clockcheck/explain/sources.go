package explain

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/source/pulse"
	"noonmark/clockcheck/source/receiver"
	"noonmark/clockcheck/source/rtc"
	"noonmark/clockcheck/timescale"
)

const fresh = 10 * time.Second

// standing is how the bank takes a source: out of the best track, out of another that is
// alive, or in all.
func standing(b *bank.Bank, s bank.Source) (trust clockcheck.Trust, why string) {
	if t := b.Best(); t.Out.Has(s) {
		return clockcheck.Doubted, reason(t, s)
	}
	for i := range b.Tracks() {
		if t := &b.Tracks()[i]; b.Alive(i) && t.Out.Has(s) {
			return clockcheck.Trusted, "It may still be false."
		}
	}
	return clockcheck.Trusted, ""
}

// reason is the sentence for why a track leaves a source out.
func reason(t *bank.Track, s bank.Source) string {
	for _, a := range t.Assumptions() {
		if a.Of == s {
			return Assumption(a)
		}
	}
	return "It disagrees with the rest."
}

// Receiver says what is thought of the receiver, the first thing that is wrong first.
func Receiver(b *bank.Bank, r *receiver.Receiver, now timescale.Local) (clockcheck.Trust, string) {
	switch {
	case !r.Present:
		return clockcheck.Silent, r.Why
	case r.Heard == 0:
		return clockcheck.Silent, "Nothing has been heard from the receiver yet."
	case now.Sub(r.Heard) > fresh:
		return clockcheck.Silent, fmt.Sprintf("Nothing from the receiver for %s: check its cable and power.", forHowLong(now.Sub(r.Heard)))
	}
	switch r.Fault {
	case receiver.Simulated:
		return clockcheck.Faulty, "The receiver says that it is in simulator mode; its time is not used."
	case receiver.NotValid:
		return clockcheck.Warming, "The receiver has no valid fix: give it an open sky."
	case receiver.Overrun:
		return clockcheck.Faulty, "The receiver sends more than its line carries in time: its sentences come ever later. Raise its speed or turn sentences off."
	case receiver.NoDate:
		return clockcheck.Warming, "The receiver gives a time of day but no date, and nothing else knows the day."
	case receiver.EarlyDate:
		return clockcheck.Faulty, "The receiver's date is before this program was built and no week rollover explains it."
	case receiver.Stuck:
		return clockcheck.Faulty, "The receiver repeats the same instant: restart it."
	case receiver.Scatter:
		return clockcheck.Doubted, "The receiver's readings agree with nothing, not even with each other."
	}
	return believed(b, r, now)
}

// believed is what the bank makes of a receiver that is sound by itself.
func believed(b *bank.Bank, r *receiver.Receiver, now timescale.Local) (clockcheck.Trust, string) {
	t := b.Best()
	tail := ""
	if r.Weeks != 0 {
		tail = fmt.Sprintf(" Its date is %d weeks early (week rollover); that is repaired.", r.Weeks)
	}
	trust, why := standing(b, bank.Receiver)
	p := b.Proved()
	switch {
	case trust == clockcheck.Doubted && t.Assumes(bank.ReceiverFalse) && decided(b):
		return clockcheck.Faulty, why + tail
	case trust == clockcheck.Doubted:
		return trust, why + " Compare with a radio time signal." + tail
	case !t.Met:
		return clockcheck.Warming, "The receiver is valid; waiting for its first readings to agree."
	case t.Lead > 0:
		return clockcheck.Warming, fmt.Sprintf("The receiver is %d s ahead. Its leap-second data has not arrived yet (up to 12.5 min after a cold start).", t.Lead)
	case !p.Second:
		return clockcheck.Warming, "The whole second is not confirmed yet: leap-second data may be missing." + tail
	case !p.Lateness:
		return clockcheck.Trusted, fmt.Sprintf("The whole second is confirmed. How late its sentences arrive is not (0 to %.1f s). A time server tells, or latency_s in the settings.", r.LateMost()) + tail
	}
	return clockcheck.Trusted, fmt.Sprintf("Valid for %s; its sentences arrive %.3f ±%.3f s late.%s", forHowLong(now.Sub(r.Since)),
		t.F.V[estimate.D], bank.Likely*t.F.Sigma(estimate.D), tail)
}

// decided tells whether every track that is alive leaves the receiver out.
func decided(b *bank.Bank) bool {
	for i := range b.Tracks() {
		if b.Alive(i) && !b.Tracks()[i].Out.Has(bank.Receiver) {
			return false
		}
	}
	return true
}

// Clock says what is thought of the hardware clock.
func Clock(b *bank.Bank, c *rtc.Clock) (clockcheck.Trust, string) {
	switch c.Fault {
	case rtc.Missing:
		return clockcheck.Silent, c.Why
	case rtc.Invalid:
		return clockcheck.Faulty, "The hardware clock says that it stopped or lost power: its battery is empty or missing."
	case rtc.EarlyDate:
		return clockcheck.Faulty, "The hardware clock's date is before this program was built: its battery is empty or it was never set."
	}
	t := b.Best()
	off := float64(t.F.ClockBase)/1e9 + t.F.V[estimate.R]
	switch {
	case t.Out.Has(bank.Clock) || t.Assumes(bank.ClockSet):
		return clockcheck.Doubted, "Something set the hardware clock, or it lost the time; it is being compared again."
	case !t.Clocked:
		return clockcheck.Warming, "The hardware clock runs, but nobody has compared it with another reference yet: it confirms nothing."
	case t.Vouched:
		return clockcheck.Trusted, fmt.Sprintf("Compared in an earlier run and kept since: ±%.3f s.", bank.Likely*t.F.Sigma(estimate.R))
	}
	if q := math.Round(off / 900); q != 0 && math.Abs(off-q*900) < 5 {
		return clockcheck.Trusted, fmt.Sprintf("The hardware clock is %+.2f h off: it keeps local time. It is used all the same.", off/3600)
	}
	return clockcheck.Trusted, fmt.Sprintf("Compared with the present time: it is %s off.", Seconds(off))
}

// Pulse says what is thought of the pulse; false where there is none to speak of.
func Pulse(b *bank.Bank, p *pulse.Pulse, now timescale.Local) (trust clockcheck.Trust, why string, ok bool) {
	switch {
	case p.Heard == 0 && p.Why == "":
		return "", "", false
	case p.Heard == 0:
		return clockcheck.Silent, p.Why, true
	case now.Sub(p.Heard) > fresh:
		return clockcheck.Silent, "No pulse lately: check its wire.", true
	}
	if p.Often {
		return clockcheck.Faulty, "Edges come that are none of a second: what is on this line is no pulse.", true
	}
	switch p.Waits {
	case pulse.Which:
		return clockcheck.Warming, "Nobody has told which edge of the pulse is the second: set pps_edge.", true
	case pulse.Comb:
		return clockcheck.Warming, "Its edges do not come once a second.", true
	case pulse.Fix:
		return clockcheck.Warming, "The receiver has no settled fix.", true
	}
	if !b.Best().On.Has(bank.Pulse) {
		return clockcheck.Warming, "Nobody has told yet which second it marks.", true
	}
	trust, why = standing(b, bank.Pulse)
	return trust, why, true
}

// Witness says what is thought of a server, a mark, a hearing.
func Witness(b *bank.Bank, s bank.Source, age, silent time.Duration) (clockcheck.Trust, string) {
	if age > silent {
		return clockcheck.Silent, fmt.Sprintf("Nothing for %s.", forHowLong(age))
	}
	trust, why := standing(b, s)
	if why == "" {
		why = "Agrees with the estimate."
	}
	return trust, why
}
