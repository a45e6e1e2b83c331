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

// fresh: a receiver is heard so long after an epoch, as long as a look (assumption; words only).
const fresh = 10 * time.Second

// Said is what is thought of a source: trust, a stable word for what is the matter (""
// = nothing), and one sentence.
type Said struct {
	Trust   clockcheck.Trust
	State   string
	Because string
}

// standing is how the bank takes a source: out of the best track, out of others that are
// alive, or in all.
func standing(b *bank.Bank, s bank.Source) Said {
	t := b.Best()
	switch {
	case t.Out.Has(s) && decided(b, s):
		return Said{clockcheck.Doubted, stateOf(t, s, clockcheck.StateOutvoted), reason(t, s)}
	case t.Out.Has(s):
		return Said{clockcheck.Doubted, stateOf(t, s, clockcheck.StateDisagrees), reason(t, s) + noThird}
	}
	u, p := against(b, s)
	switch {
	case u == nil:
		return Said{Trust: clockcheck.Trusted}
	case p < doubtful:
		return Said{clockcheck.Trusted, "", "It may still be false."}
	}
	return Said{clockcheck.Doubted, stateOf(u, s, clockcheck.StateDisagrees), "Not ruled out: " + reason(u, s) + noThird}
}

// against is the cheapest track that takes a source to be false, of those that are alive, and how likely
// they are together; nil = there is none.
func against(b *bank.Bank, s bank.Source) (u *bank.Track, p float64) {
	for i := range b.Tracks() {
		if v := &b.Tracks()[i]; b.Alive(i) && v.Out.Has(s) {
			if u == nil || v.Cost < u.Cost {
				u = v
			}
			p += b.Weight(i)
		}
	}
	return u, p
}

// Doubted tells whether a source is called doubted, or worse.
func Doubted(b *bank.Bank, s bank.Source) bool {
	_, p := against(b, s)
	return b.Best().Out.Has(s) || p >= doubtful
}

// doubtful: a source that is false with this chance takes from the 99 % of the reported
// bound what it has to lose: 1 − 0.99 = 0.01.
const doubtful = 0.01

// Local times are whole quarters of an hour from UTC (tzdata), s; a hardware clock kept so is within
// nearQuarter of one (assumption; words only).
const quarter, nearQuarter = 900, 5

const noThird = " There is no third to decide. Compare with a radio time signal."

// assumed is the newest assumption by which a track leaves a source out.
func assumed(t *bank.Track, s bank.Source) (bank.Assumed, bool) {
	all := t.Assumptions()
	for i := len(all) - 1; i >= 0; i-- {
		if a := all[i]; a.Of == s && a.What != bank.FalseFits && a.What != bank.SecondMissing {
			return a, true
		}
	}
	return bank.Assumed{}, false
}

// reason is the sentence for why a track leaves a source out.
func reason(t *bank.Track, s bank.Source) string {
	if a, ok := assumed(t, s); ok {
		return Assumption(a)
	}
	return "It disagrees with the rest."
}

// stateOf is the word for it; other is that of a plain disagreement.
func stateOf(t *bank.Track, s bank.Source, other string) string {
	a, ok := assumed(t, s)
	switch {
	case !ok || a.What != bank.ReceiverFalse:
		return other
	case a.Slow:
		return clockcheck.StateDragged
	case a.SizeS != 0:
		return clockcheck.StateJumped
	}
	return other
}

// Receiver says what is thought of the receiver, the first thing that is wrong first.
func Receiver(b *bank.Bank, r *receiver.Receiver, now timescale.Local) Said {
	switch {
	case !r.Present:
		return Said{clockcheck.Silent, clockcheck.StateAbsent, r.Why}
	case r.Heard == 0:
		return Said{clockcheck.Silent, clockcheck.StateQuiet, "Nothing has been heard from the receiver yet."}
	case now.Sub(r.Heard) > fresh:
		return Said{clockcheck.Silent, clockcheck.StateQuiet, fmt.Sprintf("Nothing from the receiver for %s: check its cable and power.", forHowLong(now.Sub(r.Heard)))}
	case int(r.Fault) < len(faults) && faults[r.Fault].State != "":
		return faults[r.Fault]
	}
	return believed(b, r, now)
}

// faults is what a receiver says of itself or shows by itself.
var faults = [...]Said{
	receiver.Simulated: {clockcheck.Faulty, clockcheck.StateSimulator, "The receiver says that it is in simulator mode; its time is not used."},
	receiver.NotValid:  {clockcheck.Warming, clockcheck.StateNoFix, "The receiver has no valid fix: give it an open sky."},
	receiver.Overrun:   {clockcheck.Faulty, clockcheck.StateOverrun, "The receiver sends more than its line carries in time: its sentences come ever later. Raise its speed or turn sentences off."},
	receiver.NoDate:    {clockcheck.Warming, clockcheck.StateNoDate, "The receiver gives a time of day but no date, and nothing else knows the day."},
	receiver.EarlyDate: {clockcheck.Faulty, clockcheck.StateEarlyDate, "The receiver's date is before this program was built and no week rollover explains it."},
	receiver.Stuck:     {clockcheck.Faulty, clockcheck.StateStuck, "The receiver repeats the same instant: restart it."},
	receiver.Scatter:   {clockcheck.Doubted, clockcheck.StateScatter, "The receiver's readings agree with nothing, not even with each other."},
}

// believed is what the bank makes of a receiver that is sound by itself.
func believed(b *bank.Bank, r *receiver.Receiver, now timescale.Local) Said {
	t := b.Best()
	tail := ""
	if r.Weeks != 0 {
		tail = fmt.Sprintf(" Its date is %d weeks early (week rollover); that is repaired.", r.Weeks)
	}
	said := standing(b, bank.Receiver)
	p := b.Proved()
	switch {
	case said.Trust == clockcheck.Doubted:
		if said.Because += tail; t.Assumes(bank.ReceiverFalse) && t.Out.Has(bank.Receiver) && decided(b, bank.Receiver) {
			said.Trust = clockcheck.Faulty
		}
		return said
	case !t.Met:
		return Said{clockcheck.Warming, clockcheck.StateSettling, "The receiver is valid; waiting for its first readings to agree."}
	case t.Lead > 0:
		return Said{clockcheck.Warming, clockcheck.StateLeapMissing,
			fmt.Sprintf("The receiver is %d s ahead. Its leap-second data has not arrived yet (12.5 min after a cold start, or twice that).", t.Lead)}
	case !p.Second:
		return unproved(b, r, now, tail)
	case !r.Steady():
		return Said{clockcheck.Trusted, latencyState(p), fmt.Sprintf("The whole second is confirmed. Over a network its sentences may be %.0f s late, however late they were before. "+
			"A receiver at a port of this computer tells, or a time server.%s", r.LateMost(), tail)}
	case !p.Lateness:
		return Said{clockcheck.Trusted, clockcheck.StateLatency,
			fmt.Sprintf("The whole second is confirmed. How late its sentences arrive is not (0 to %.1f s). A time server tells, or latency_s in the settings.", r.LateMost()) + tail}
	}
	return Said{clockcheck.Trusted, "", fmt.Sprintf("Valid for %s; its sentences arrive %.3f ±%.3f s late.%s", forHowLong(now.Sub(r.Since)),
		t.F.V[estimate.D], bank.Likely*t.F.Sigma(estimate.D), tail)}
}

func latencyState(p bank.Proved) string {
	if p.Lateness {
		return ""
	}
	return clockcheck.StateLatency
}

// unproved is a receiver whose whole second is open: waiting may prove it, or not.
func unproved(b *bank.Bank, r *receiver.Receiver, now timescale.Local, tail string) Said {
	in := SecondIn(b, r, now)
	if in < 0 {
		return Said{clockcheck.Doubted, clockcheck.StateSecondOpen, "The whole second is not confirmed, and waiting does not confirm it. Only another reference does." + tail}
	}
	return Said{clockcheck.Warming, clockcheck.StateSecond,
		"The whole second is not confirmed yet: leap-second data may be missing for another " + forHowLong(time.Duration(in*1e9)) + "." + tail}
}

// SecondIn is how long it takes until the whole second is confirmed if the receiver goes on
// as it does, s; negative where waiting does not do it. By the bank's prices each page of
// leap-second data in which nothing comes makes it less likely that any is missing.
func SecondIn(b *bank.Bank, r *receiver.Receiver, now timescale.Local) float64 {
	t := b.Best()
	if !t.Met || t.Out.Has(bank.Receiver) {
		return -1
	}
	next, satellites, ok := r.NextPage(now)
	if !ok {
		return -1
	}
	n := b.Pages(satellites)
	if n <= 0 {
		return -1
	}
	return (next + time.Duration(n-1)*receiver.PageEvery).Seconds()
}

// decided tells whether every track that is alive leaves the source out.
func decided(b *bank.Bank, s bank.Source) bool {
	for i := range b.Tracks() {
		if b.Alive(i) && !b.Tracks()[i].Out.Has(s) {
			return false
		}
	}
	return true
}

// Clock says what is thought of the hardware clock.
func Clock(b *bank.Bank, c *rtc.Clock) Said {
	switch c.Fault {
	case rtc.Missing:
		return Said{clockcheck.Silent, clockcheck.StateAbsent, c.Why}
	case rtc.Invalid:
		return Said{clockcheck.Faulty, clockcheck.StateStopped, "The hardware clock says that it stopped or lost power: its battery is empty or missing."}
	case rtc.EarlyDate:
		return Said{clockcheck.Faulty, clockcheck.StateEarlyDate, "The hardware clock's date is before this program was built: its battery is empty or it was never set."}
	}
	t := b.Best()
	off := float64(t.F.ClockBase)/1e9 + t.F.V[estimate.R]
	switch {
	case t.Out.Has(bank.Clock):
		return Said{clockcheck.Doubted, clockcheck.StateWasSet, "Something set the hardware clock, or it lost the time."}
	case !t.Clocked:
		return Said{clockcheck.Warming, clockcheck.StateUncompared, "The hardware clock runs, but nobody has compared it with another reference yet: it confirms nothing."}
	case t.Vouched:
		if s := standing(b, bank.Clock); s.Trust == clockcheck.Doubted {
			return s
		}
		return Said{clockcheck.Trusted, "", fmt.Sprintf("Compared in an earlier run and kept since: ±%.3f s.", bank.Likely*t.F.Sigma(estimate.R))}
	}
	if q := math.Round(off / quarter); q != 0 && math.Abs(off-q*quarter) < nearQuarter {
		return Said{clockcheck.Trusted, "", fmt.Sprintf("The hardware clock is %+.2f h off: it keeps local time. It is used all the same.", off/3600)}
	}
	return Said{clockcheck.Trusted, "", fmt.Sprintf("Compared with the present time: it is %s off.", Seconds(off))}
}

// Pulse says what is thought of the pulse; false where there is none to speak of.
func Pulse(b *bank.Bank, p *pulse.Pulse, now timescale.Local) (s Said, ok bool) {
	switch {
	case p.Heard == 0 && p.Why == "":
		return s, false
	case p.Heard == 0:
		return Said{Trust: clockcheck.Silent, Because: p.Why}, true
	case now.Sub(p.Heard) > fresh:
		return Said{Trust: clockcheck.Silent, Because: fmt.Sprintf("No pulse for %s: check its wire, and that the receiver sends one with its present fix.", forHowLong(now.Sub(p.Heard)))}, true
	case p.Often:
		return Said{Trust: clockcheck.Faulty, Because: "Edges come that are none of a second: what is on this line is no pulse."}, true
	}
	switch p.Waits {
	case pulse.Which:
		return Said{Trust: clockcheck.Warming, Because: "Nobody has told which edge of the pulse is the second: set pps_edge."}, true
	case pulse.Comb:
		return Said{Trust: clockcheck.Warming, Because: "Waiting for five pulses in a row, one second apart."}, true
	case pulse.Fix:
		return Said{Trust: clockcheck.Warming, Because: "The receiver has no settled fix."}, true
	}
	t := b.Best()
	if !t.On.Has(bank.Pulse) && !t.Out.Has(bank.Pulse) {
		return Said{Trust: clockcheck.Warming, Because: "Nothing tells closely enough yet which second the pulse marks."}, true
	}
	if s = standing(b, bank.Pulse); s.Because == "" {
		s.Because = "Each second begins with its edge."
	}
	return s, true
}

// Witness says what is thought of a server, a mark, a hearing.
func Witness(b *bank.Bank, s bank.Source, age, silent time.Duration) Said {
	if age > silent {
		return Said{clockcheck.Silent, clockcheck.StateQuiet, fmt.Sprintf("Nothing for %s.", forHowLong(age))}
	}
	said := standing(b, s)
	if said.Because == "" {
		said.Because = "Agrees with the estimate."
	}
	return said
}
