package clockcheck

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck/terms"
	"noonmark/clockcheck/timescale"
)

// Trust in a reference.
type Trust = terms.Trust

const (
	Silent  = terms.Silent
	Warming = terms.Warming
	Trusted = terms.Trusted
	Doubted = terms.Doubted
	Faulty  = terms.Faulty
)

// Reference is one reference and what the judge makes of it.
type Reference struct {
	Name    string
	Kind    string // "gnss", "pps", "rtc", "network", "operator"
	Trust   Trust
	State   string  // what is the matter, a stable word; "" = nothing
	Because string  // one sentence, with the remedy where there is one
	HasSaid bool    // Error and Bound have a meaning
	Error   float64 // s: system clock − what the reference says
	Bound   float64 // s: half-width, 99 %
	Age     float64 // s since its last word; negative = never
	Signals int     // of the air: how many signals were heard
}

func (j *Judge) references(now timescale.Local, dst *Judgement) {
	dst.References = append(dst.References, j.receiverReference(now, dst), j.rtcReference(now, dst))
	if r, ok := j.pulseReference(now, dst); ok {
		dst.References = append(dst.References, r)
		j.watchPulse(now, r)
	}
	for i := range j.marks {
		if r, ok := j.markReference(now, i, dst); ok {
			dst.References = append(dst.References, r)
		}
	}
	for i := range j.servers[:j.nServer] {
		dst.References = append(dst.References, j.serverReference(now, &j.servers[i], dst))
	}
}

func (j *Judge) receiverReference(now timescale.Local, dst *Judgement) Reference {
	rx := &j.rx
	r := Reference{Name: "receiver", Kind: "gnss", Age: age(now, rx.heard)}
	r.Trust, r.Because = j.receiverTrust(now)
	r.State, dst.SecondIn = j.receiverState(now), j.secondIn(now)
	if j.x.known && rx.run > 0 && now.Sub(rx.valid) < receiverFresh {
		// What the receiver alone says: its stream plus the latency.
		z := j.zRel(rx.valid, rx.runZ)
		r.HasSaid = true
		r.Error = dst.Error + j.f.v[sX] + j.view.correction - (z + j.f.v[sD])
		r.Bound = boundZ * math.Hypot(j.f.sigma(sD), math.Sqrt(rx.jitter))
	}
	return r
}

// receiverTrust gives the trust and its reason. The first thing that is wrong
// comes first.
func (j *Judge) receiverTrust(now timescale.Local) (Trust, string) {
	rx := &j.rx
	switch {
	case !rx.present:
		return Silent, rx.why
	case rx.heard == 0:
		return Silent, "Nothing has been heard from the receiver yet."
	case now.Sub(rx.heard) > receiverFresh:
		return Silent, fmt.Sprintf("Nothing from the receiver for %s: check its cable and power.", forHowLong(now.Sub(rx.heard)))
	}
	switch rx.fault {
	case fSimulated:
		return Faulty, "The receiver says that it is in simulator mode; its time is not used."
	case fNotValid:
		return Warming, "The receiver has no valid fix: give it an open sky."
	case fOverrun:
		return Faulty, "The receiver sends more than its line carries in time: its sentences come ever later. Raise its speed or turn sentences off."
	case fNoDate:
		return Warming, "The receiver gives a time of day but no date, and nothing else knows the day."
	case fEarlyDate:
		return Faulty, "The receiver's date is before this program was built and no week rollover explains it."
	case fStuck:
		return Faulty, "The receiver repeats the same instant: restart it."
	case fScatter:
		return Doubted, "The receiver's readings agree with nothing, not even with each other."
	case fJumped:
		return Faulty, fmt.Sprintf("The receiver's time jumped by %s, which no clock does; it is not used until it agrees again.", seconds(rx.jump))
	case fDragged:
		return Faulty, fmt.Sprintf("The receiver's time has drifted by %s, faster than the computer's oscillator can. A false signal does that, or reports that are not locked to the second.", seconds(rx.jump))
	case fAhead:
		return Warming, fmt.Sprintf("The receiver is %d s ahead. Its leap-second data has not arrived yet (12.5 min after a cold start, or twice that).", rx.leapsMissing)
	case fDisagrees:
		when := "The receiver disagrees"
		if rx.run == 0 {
			when = "When it last had a fix, the receiver disagreed"
		}
		return Doubted, when + " with " + j.opponent() + ", and there is no third to decide: compare with a radio time signal."
	}
	if !rx.attached {
		return Warming, "The receiver is valid; waiting for its first readings to agree."
	}
	return j.attachedTrust(now)
}

func (j *Judge) attachedTrust(now timescale.Local) (Trust, string) {
	rx := &j.rx
	tail := ""
	if rx.weeks != 0 {
		tail = fmt.Sprintf(" Its date is %d weeks early (week rollover); that is repaired.", rx.weeks)
	}
	if !rx.secProved && !j.x.secondProved() {
		left := proofTime - now.Sub(rx.since)
		if rx.noProof {
			return Doubted, "The receiver has jumped before; only another reference can confirm its whole second."
		}
		return Warming, fmt.Sprintf("The whole second is not confirmed yet: leap-second data may be missing for another %s.%s", forHowLong(left), tail)
	}
	if !rx.link.steady() {
		return Trusted, fmt.Sprintf("The whole second is confirmed. Over a network its sentences may be %.0f s late, however late they were before. "+
			"A receiver at a port of this computer, or a time server, tells.%s", rx.link.latencyMax(), tail)
	}
	if rx.latencyBy == "" {
		return Trusted, "The whole second is confirmed. How late its sentences arrive is not (0 to " +
			fmt.Sprintf("%.1f s).", rx.link.latencyMax()) + " A time server tells, or latency_s in the settings." + tail
	}
	return Trusted, fmt.Sprintf("Valid for %s; its sentences arrive %.3f ±%.3f s late (%s).%s",
		forHowLong(now.Sub(rx.since)), j.f.v[sD], boundZ*j.f.sigma(sD), rx.latencyBy, tail)
}

// opponent names what the receiver is opposed to.
func (j *Judge) opponent() string {
	switch {
	case j.x.support == supportNetwork:
		return "the network"
	case j.x.support == supportMark:
		return j.markWord()
	case j.x.support == supportRTC:
		return "the hardware clock"
	}
	return "what was known before"
}

func (j *Judge) rtcReference(now timescale.Local, dst *Judgement) Reference {
	c := &j.rtc
	r := Reference{Name: "hardware clock", Kind: "rtc", Age: age(now, c.heard), State: j.rtcState()}
	if c.provisional {
		r.HasSaid = true
		r.Error = dst.Error
		if j.x.known {
			r.Error -= float64(c.base)/1e9 + j.f.v[sR]
			r.Bound = boundZ * j.f.sigma(sR)
		}
	}
	switch c.fault {
	case fMissing:
		r.Trust, r.Because, r.HasSaid = Silent, c.why, false
	case fInvalid:
		r.Trust, r.Because = Faulty, "The hardware clock says that it stopped or lost power: its battery is empty or missing."
	case fEarlyDate:
		r.Trust, r.Because = Faulty, "The hardware clock's date is before this program was built: its battery is empty or it was never set."
	case fUncompared:
		r.Trust, r.Because = Warming, "The hardware clock runs, but nobody has compared it with another reference yet: it confirms nothing."
	case fWasSet:
		r.Trust, r.Because = Doubted, "The hardware clock was set or outvoted; it is being compared again."
	case fDisagrees:
		r.Trust, r.Because = Doubted, "The hardware clock disagrees with the receiver, and there is no third to decide: compare with a radio time signal."
	default:
		r.Trust, r.Because = Trusted, j.rtcTrusted()
	}
	return r
}

func (j *Judge) rtcTrusted() string {
	if j.rtc.independent {
		return fmt.Sprintf("Compared in an earlier run and kept since: ±%.3f s.", boundZ*j.f.sigma(sR))
	}
	off := float64(j.rtc.base)/1e9 + j.f.v[sR]
	if q := math.Round(off / 900); q != 0 && math.Abs(off-q*900) < 5 {
		return fmt.Sprintf("The hardware clock is %+.2f h off: it keeps local time. It is used all the same.", off/3600)
	}
	return fmt.Sprintf("Compared with the present time: it is %s off.", seconds(off))
}

func (j *Judge) serverReference(now timescale.Local, s *server, dst *Judgement) Reference {
	rel := j.rel(s.at, s.z)
	r := Reference{Name: s.name, Kind: "network", HasSaid: true, Error: dst.Error - rel, Bound: s.bound, Age: age(now, s.at), State: serverState(now, s)}
	switch {
	case now.Sub(s.at) > serverFresh:
		r.Trust, r.Because = Silent, fmt.Sprintf("No answer for %s.", forHowLong(now.Sub(s.at)))
	case s.agrees:
		r.Trust, r.Because = Trusted, "Agrees with the estimate."
		if i := j.indexOf(s); j.family(i) != i {
			r.Because += " It has its time from where " + j.servers[j.family(i)].name + " has it: the two are one witness."
		}
	case s.outvoted:
		r.Trust, r.Because = Doubted, "Outvoted: it differs by "+seconds(rel)+"."
	default:
		r.Trust, r.Because = Doubted, "It differs by "+seconds(rel)+", and there is no third to decide."
	}
	return r
}

// budget splits the guard into its terms.
func (j *Judge) budget(dst *Judgement) {
	add := func(name string, g float64, because string) {
		if g > 0 {
			dst.Budget = append(dst.Budget, Term{name, g, because})
		}
	}
	lo, hi := j.interval(guardZ)
	gauss := math.Max(-lo+j.x.open.lo+float64(j.x.secLo), hi-j.x.open.hi-float64(j.x.secHi))
	add("estimate", gauss, "what the readings leave open, at 99.99 %")
	add("two views", math.Abs(j.view.correction), "whether the oscillator or the latency moved is not known")
	add("pulse's edge", math.Max(-j.x.open.lo, j.x.open.hi), "which edge of the pulse is the second is not told")
	add("whole second", float64(max(-j.x.secLo, j.x.secHi)), "leap-second data not confirmed")
	if g := j.guardAhead(0); math.Max(-g.lo, g.hi) > math.Max(-lo, hi) {
		add("disagreement", math.Max(-g.lo, g.hi)-math.Max(-lo, hi), "a reference says something else and is not outvoted")
	}
}

// because is the sentence for the whole clock.
func (j *Judge) because(now timescale.Local, dst *Judgement) string {
	if !dst.Known {
		return "Nothing has told the time yet."
	}
	if !j.x.known {
		return "Only the hardware clock tells the time, and nobody has compared it: do not rely on it."
	}
	if !dst.Guarded {
		return "The date is not confirmed: the receiver does not say it."
	}
	if j.opposed() {
		return fmt.Sprintf("References disagree and there is no third to decide: the error may be up to %s. Compare with a radio time signal.", span(dst.Guard+math.Abs(dst.Error)))
	}
	how := map[Basis]string{
		BasisPPS: "the receiver's pulse", BasisOperator: j.markWord(), BasisGNSS: "the receiver", BasisNetwork: "a time server", BasisRTC: "the hardware clock",
	}[dst.Basis]
	if dst.Basis == BasisHoldover {
		how = "the oscillator alone (no reference for " + forHowLong(j.sinceSupport(now)) + ")"
	}
	s := fmt.Sprintf("By %s the clock is %s %s, ± %s (99 %%).", how, span(math.Abs(dst.Error)), fastOrSlow(dst.Error), span(dst.Bound))
	if !j.x.secondProved() {
		s += " The whole second is not confirmed."
	}
	return s
}

func (j *Judge) sinceSupport(now timescale.Local) time.Duration {
	last := max(j.x.gnssAt, j.x.netAt, j.x.markAt)
	if last == 0 {
		last = j.x.rtcAt
	}
	return now.Sub(last)
}

func fastOrSlow(e float64) string {
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

func age(now, at timescale.Local) float64 {
	if at == 0 {
		return -1
	}
	return now.Sub(at).Seconds()
}

// watchTrust notes a change of the receiver's trust.
func (j *Judge) watchTrust(now timescale.Local, dst *Judgement) {
	r := dst.References[0]
	if r.Trust != j.rxTrust {
		if j.rxTrust != "" {
			j.note(now, "trust-changed", "Receiver "+string(r.Trust)+". "+r.Because)
		}
		j.rxTrust = r.Trust
	}
}
