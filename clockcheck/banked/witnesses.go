package banked

import (
	"fmt"
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/explain"
	"noonmark/clockcheck/source/mark"
	"noonmark/clockcheck/source/pulse"
	"noonmark/clockcheck/source/receiver"
	"noonmark/clockcheck/timescale"
)

// Readings of everybody but the receiver's sentences.

// PPS takes one edge of the receiver's pulse.
func (j *Judge) PPS(e *clockcheck.PPS) {
	fix := j.rx.Present && j.rx.Fault == receiver.None && e.At.Sub(j.rx.Valid) < pulse.FixFresh && e.At.Sub(j.rx.Since) >= pulse.Settle
	near, guard := j.second(e.At)
	if r, ok := j.pulse.Take(e, fix, near, guard); ok {
		j.bank.Hear(&r)
		j.learnRate(&r)
		j.changed(e.At, bank.Pulse)
	}
}

// second is how far an instant is from a whole second of UTC by the best track, and how
// far from it UTC may be by all; s. A receiver that is doubted shows nobody which edge is the second:
// its pulse is false with it.
func (j *Judge) second(at timescale.Local) (near, guard float64) {
	if !j.bank.Best().Located || explain.Doubted(j.bank, bank.Receiver) {
		return 0, math.Inf(1)
	}
	s := float64(j.utc(at)%timescale.UTC(timescale.Second)) / 1e9
	return s - math.Round(s), j.bank.Half(0)
}

// PPSMissing says that there is no pulse to be had, and why.
func (j *Judge) PPSMissing(why string) { j.pulse.Gone(why) }

// RTC takes one reading of the hardware clock.
func (j *Judge) RTC(r *clockcheck.RTC) {
	c := &j.clock
	if j.first.Edge == 0 {
		j.first = *r
	}
	out, ok := c.Take(r, j.cfg.Floor)
	if !ok {
		return
	}
	if c.Kernel || c.Written {
		c.Urgent = c.Urgent || c.Moved()
		c.Read()
		j.bank.ClockWritten()
	} else if back, ok := c.Recall(r, j.cfg.RTCCompensated, j.turned()); ok {
		out.Dated = back.Dated
		back.From = setOf(j.learned.RTC.Ancestry)
		back.Accounts = accountsOf(j.learned.RTC.Accounts)
		j.bank.Recall(&back)
	}
	sets, odd := j.count(bank.ClockSet), j.bank.ClockOdd()
	j.bank.Hear(&out)
	c.Urgent = c.Urgent || j.bank.ClockOdd() != odd
	if j.count(bank.ClockSet) > sets {
		c.SetSeen, c.Urgent = true, true
		j.note(r.Edge, "rtc-set", "Something set the hardware clock.")
	}
	if b := j.bank.Best(); b.Clocked && b.Located {
		c.LearnKernel(r.Edge, float64(b.F.ClockBase)/1e9+b.F.V[estimate.R])
	}
	j.changed(r.Edge, bank.Clock)
}

// count is how often the best track assumes a.
func (j *Judge) count(a bank.Assumption) (n int) {
	for _, s := range j.bank.Best().Assumptions() {
		if s.What == a {
			n++
		}
	}
	return n
}

// RTCMissing says that there is no usable hardware clock, and why.
func (j *Judge) RTCMissing(why string) { j.clock.Gone(why) }

// KernelWritesRTC says whether the kernel's own 11-minute writes to the clock are on.
func (j *Judge) KernelWritesRTC(on bool) { j.clock.KernelWrites(on) }

// WroteRTC says that this program itself has set the hardware clock.
func (j *Judge) WroteRTC() { j.clock.Set() }

// Urgent tells, once, that what is kept of the hardware clock would mislead a start, that a
// start would have to wait for a proof again that this run has made, or that it would believe
// whom this run has found to be false.
func (j *Judge) Urgent() bool {
	u := j.clock.Urgent || j.urgent
	j.clock.Urgent, j.urgent = false, false
	return u
}

// Network takes one answer of a server.
func (j *Judge) Network(r *clockcheck.Network) {
	if out, ok := j.servers.Take(r); ok {
		j.bank.Hear(&out)
		j.learnRate(&out)
		j.changed(r.At, out.Source)
	}
}

// Mark takes a mark. It reports whether the mark could be placed.
func (j *Judge) Mark(m *clockcheck.Mark) bool {
	if m.OurOwn {
		j.note(m.At, "mark", "The borrowed clock took its time from this station: it is no witness.")
		return true
	}
	var known timescale.UTC
	half := math.Inf(1)
	if j.bank.Best().Located {
		known, half = j.utc(m.At), j.bank.Half(0)
	}
	r, ok := mark.Take(m, known, half)
	if !ok {
		return false
	}
	j.marks[index(m.Borrowed)] = *m
	j.marks[index(m.Borrowed)].UTC = timescale.UTC(r.Z + int64(m.At))
	before := j.bank.Best().Out
	j.bank.Hear(&r)
	switch out := j.bank.Best().Out; {
	case !out.Has(r.Source):
		j.note(m.At, "mark", fmt.Sprintf("A mark agrees to within %.2f s.", m.Bound.Seconds()))
	case !before.Has(r.Source):
		j.note(m.At, "mark", "A mark differs from what was known.")
	}
	j.changed(m.At, r.Source)
	return true
}

func index(b bool) int {
	if b {
		return 1
	}
	return 0
}
