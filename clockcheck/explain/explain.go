// Package explain makes words of the bank: why the clock is said to be where it is, what
// is confirmed, what the guard is made of, what is thought of each source. It reads the bank
// and changes nothing; sentences say what is so and what to do.
package explain

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// Proved spells out what is confirmed.
func Proved(dst []string, p bank.Proved) []string {
	if p.Date {
		dst = append(dst, "date")
	}
	if p.Second {
		dst = append(dst, "second")
	}
	if p.Lateness {
		dst = append(dst, "latency")
	}
	return dst
}

// servers are all families, with those of an earlier run.
const servers = bank.Families | 1<<bank.Before

// Roots spells out whom UTC comes from.
func Roots(dst []string, s bank.Set) []string {
	if dst == nil {
		dst = []string{}
	}
	if s.Any(bank.SetOf(bank.Receiver, bank.Pulse)) {
		dst = append(dst, "receiver")
	}
	if s.Any(servers) {
		dst = append(dst, "server")
	}
	if s.Any(bank.SetOf(bank.Ear)) {
		dst = append(dst, "operator")
	}
	if s.Any(bank.SetOf(bank.Crowd, bank.Station)) {
		dst = append(dst, "air")
	}
	if s.Any(bank.SetOf(bank.Borrowed)) {
		dst = append(dst, "unknown")
	}
	return dst
}

// Source names a source.
func Source(s bank.Source) string {
	if s >= bank.Server {
		return fmt.Sprintf("server family %d", s-bank.Server+1)
	}
	return [...]string{"receiver", "pulse", "hardware clock", "mark by ear", "borrowed clock", "crowd", "time-signal station", "the run before"}[s]
}

// From names a source as one that UTC comes from.
func From(s bank.Source) string {
	switch {
	case s >= bank.Server:
		return "a time server"
	case s == bank.Ear || s == bank.Borrowed:
		return "a " + Source(s)
	}
	return "the " + Source(s)
}

// leap, s: who moved by less between two looks may have been led there: bank's leapt, wide·proved + edge
// = 0.19.
const leap = 0.2

// Assumption is one sentence for what a track assumes.
func Assumption(a bank.Assumed) string {
	switch a.What {
	case bank.SecondMissing:
		return "The receiver's leap-second data are missing, so it is ahead by whole seconds."
	case bank.LatenessMoved:
		return "The receiver's arrival latency moved by " + Seconds(a.SizeS) + "."
	case bank.LatenessWanders:
		return "The receiver's arrival latency is going away, by " + Seconds(a.SizeS) + " so far."
	case bank.LatenessNew:
		return "The receiver's arrival latency is not the learned one: it may be another receiver."
	case bank.ReceiverFalse:
		switch {
		case a.Slow:
			return "The receiver's time has drifted by " + Seconds(a.SizeS) + ", faster than the computer's oscillator can. A false signal does that, or reports that are not locked to the second."
		case a.SizeS != 0 && math.Abs(a.SizeS) < leap:
			return "The receiver's time moved by " + Seconds(a.SizeS) + ", faster than the computer's oscillator can. It is not used until it agrees again."
		case a.SizeS != 0:
			return "The receiver's time jumped by " + Seconds(a.SizeS) + ", which no clock does; it is not used until it agrees again."
		}
		return "The receiver disagrees with the rest."
	case bank.ReceiverWasFalse:
		return "The receiver's time was false, and jumped by " + Seconds(a.SizeS) + " to be right."
	case bank.ServerFalse:
		return "A server's time is false."
	case bank.MarkFalse:
		return "An operator's mark, or the clock it was compared with, is false."
	case bank.AirFalse:
		return "What the radio heard is false."
	case bank.PulseFalse:
		return "The pulse, or the edge it is taken by, is false."
	case bank.ClockSet:
		return "Something set the hardware clock, or it lost the time."
	case bank.WritesScatter:
		return "The hardware clock may be elsewhere since the system last wrote it."
	case bank.OscillatorMoved:
		return "The computer's oscillator moved by " + Seconds(a.SizeS) + "."
	case bank.CrystalTurned:
		return "The computer's crystal moved by " + Seconds(a.SizeS) + ", as a tuning fork does in the cold."
	case bank.CrystalFar:
		return "The computer's crystal is far off: it went " + Seconds(a.SizeS) + " while nobody knew its rate."
	case bank.FalseMoves:
		return "What is false moves besides."
	case bank.FalseFits:
		return "Two that are false say the same by chance."
	}
	return "Something that has no words yet."
}

// List describes each explanation in a line: how likely it is, where it puts UTC, what it
// assumes.
func List(b *bank.Bank) (lines []string) {
	for i := range b.Tracks() {
		t := &b.Tracks()[i]
		off, lo, hi := b.Reach(i)
		how := "left out"
		switch {
		case t.Latent:
			how = "latent"
		case b.Alive(i):
			how = fmt.Sprintf("weight %.2g", b.Weight(i))
		}
		l := fmt.Sprintf("%2d %s, %.1f nats and %.1f strain: UTC %+.4f s from the best, %+.4f to %+.4f s; on", i, how, t.Cost, t.Strain, off, lo, hi)
		for s := range bank.NumSources {
			if t.On.Has(bank.Source(s)) {
				l += " " + Source(bank.Source(s))
			}
		}
		if t.Lead > 0 {
			l += fmt.Sprintf("; ahead %d to %d s", t.Lead, t.LeadMost)
		}
		for _, a := range t.Assumptions() {
			l += "; " + Assumption(a)
		}
		lines = append(lines, l)
	}
	if c := b.Correction(); c != 0 {
		lines = append(lines, fmt.Sprintf("   as published: UTC %+.4f s from the best", c))
	}
	for i, age := range b.Former() {
		if age > 0 {
			off, lo, hi := b.FormerReach(i)
			lines = append(lines, fmt.Sprintf("   as %s ago: UTC %+.4f s from the best, %+.4f to %+.4f s", forHowLong(age), off, lo, hi))
		}
	}
	return lines
}

// elsewhere, s: nearer tracks are one place to a person: half of the least tolerance, 0.3 s.
const elsewhere = 0.15

// rival is the likeliest track that puts UTC elsewhere than the best, by so much, s.
func rival(b *bank.Bank) (t *bank.Track, off float64) {
	most := 0.0
	best := b.Best()
	for i := range b.Tracks() {
		u := &b.Tracks()[i]
		if !b.Alive(i) || !u.Located || u == best || b.Weight(i) <= most {
			continue
		}
		if d := float64(u.F.Base-best.F.Base)/1e9 + u.F.V[estimate.X] - best.F.V[estimate.X]; math.Abs(d) > elsewhere {
			t, off, most = u, d, b.Weight(i)
		}
	}
	return t, off
}

// last is the newest assumption of a track; false = it makes none.
func last(t *bank.Track) (bank.Assumed, bool) {
	all := t.Assumptions()
	if len(all) == 0 {
		return bank.Assumed{}, false
	}
	return all[len(all)-1], true
}

// Because is the sentence for the whole clock; told is when somebody last told UTC.
func Because(b *bank.Bank, j *clockcheck.Judgement, told timescale.Local) string {
	switch {
	case !j.Known:
		return "Nothing has told the time yet."
	case !b.Best().Located:
		return "Only the hardware clock tells the time, and nobody has compared it: do not rely on it."
	case !j.Guarded && b.Doubted() != 0:
		return "References disagree, and nobody tells the time without them. Compare with a radio time signal."
	case !j.Guarded && b.Proved().Date:
		return "A time server has answered, and the others are being asked. Wait some seconds."
	case !j.Guarded:
		return "The date is not confirmed: the receiver does not say it."
	}
	s := fmt.Sprintf("By %s the clock is %s %s, give or take %s.", by(j.Basis, b.Best().Roots, j.At.Sub(told)), span(math.Abs(j.Error)), FastOrSlow(j.Error), span(j.Guard))
	if t, off := rival(b); t != nil {
		if b.Doubted() != 0 {
			s += " References disagree, and there is no third to decide: compare with a radio time signal."
		}
		if a, ok := last(t); ok {
			s += " Not ruled out: UTC is " + Seconds(off) + " from there. " + Assumption(a)
		}
	}
	if !b.Proved().Second {
		s += " The whole second is not confirmed."
	}
	return s
}

// by names what the clock is judged by; silent is for how long nobody has told UTC.
func by(basis clockcheck.Basis, roots bank.Set, silent time.Duration) string {
	switch basis {
	case clockcheck.BasisPPS:
		return "the receiver's pulse"
	case clockcheck.BasisOperator:
		if roots.Only(bank.SetOf(bank.Crowd, bank.Station)) {
			return "a radio time signal"
		}
		return "an operator's mark"
	case clockcheck.BasisGNSS:
		return "the receiver"
	case clockcheck.BasisNetwork:
		return "a time server"
	case clockcheck.BasisRTC:
		return "the hardware clock"
	}
	return "the oscillator alone (no reference for " + forHowLong(silent) + ")"
}

// Seconds prints a signed time difference.
func Seconds(s float64) string {
	switch a := math.Abs(s); {
	case a < 10:
		return fmt.Sprintf("%+.2f s", s)
	case a < 7200:
		return fmt.Sprintf("%+.1f s", s)
	case a < 2*86400:
		return fmt.Sprintf("%+.1f h", s/3600)
	default:
		return fmt.Sprintf("%+.1f days", s/86400)
	}
}

// FastOrSlow is the word for a clock that is e s off.
func FastOrSlow(e float64) string {
	if e < 0 {
		return "slow"
	}
	return "fast"
}

func span(s float64) string {
	switch {
	case s < 10:
		return fmt.Sprintf("%.3f s", s)
	case s < 7200:
		return fmt.Sprintf("%.1f s", s)
	}
	return fmt.Sprintf("%.1f h", s/3600)
}

func forHowLong(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%.1f h", d.Hours())
}
