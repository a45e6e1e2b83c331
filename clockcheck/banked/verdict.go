package banked

import (
	"math"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/explain"
	"noonmark/clockcheck/terms"
	"noonmark/clockcheck/timescale"
)

const (
	// holdFor: a margin must hold so long before Within is said: two judgements, one a second
	// (assumption; so no yes flickers).
	holdFor = 2 * time.Second
	day     = 24 * 3600.0 // s, by definition = 24 · 60 · 60
	// fresh: a receiver is heard so long after an epoch, as long as a look (assumption; for words and the
	// thermometer, no verdict).
	fresh = 10 * time.Second
)

// verdicts is what was said of each mode.
type verdicts struct {
	since  []timescale.Local // the margin has held since; −1 = it does not
	eased  []timescale.Local // what was outside has been better since; −1 = it is not, 0 = it was not outside
	within []bool
	good   []float64 // s: the last answer to "for how long"
}

func (v *verdicts) init(modes int) {
	v.since, v.eased, v.within, v.good = make([]timescale.Local, modes), make([]timescale.Local, modes), make([]bool, modes), make([]float64, modes)
	for i := range v.since {
		v.since[i] = -1
	}
}

// hold lets a verdict fall at once and rise, to within or from outside, only after that has
// held.
func (v *verdicts) hold(i int, now timescale.Local, said clockcheck.Verdict) clockcheck.Verdict {
	said = v.rise(i, now, said)
	switch e := &v.eased[i]; {
	case said == clockcheck.Outside:
		*e = -1
	case said == clockcheck.Unknown || *e == 0:
		*e = 0
	case *e < 0:
		*e = now
		return clockcheck.Outside
	case now.Sub(*e) < holdFor:
		return clockcheck.Outside
	default:
		*e = 0
	}
	return said
}

// rise lets within wait.
func (v *verdicts) rise(i int, now timescale.Local, said clockcheck.Verdict) clockcheck.Verdict {
	switch {
	case said != clockcheck.Within:
		v.since[i], v.within[i] = -1, false
	case v.since[i] < 0:
		v.since[i] = now
	}
	if said != clockcheck.Within || v.within[i] {
		return said
	}
	if v.within[i] = now.Sub(v.since[i]) >= holdFor; !v.within[i] {
		return clockcheck.Borderline
	}
	return said
}

// Judge says how it stands at now, when the system clock showed system. dst is filled
// from the start; its slices are used again.
func (j *Judge) Judge(now timescale.Local, system timescale.UTC, dst *clockcheck.Judgement) {
	j.judge(now, system, dst)
	j.words(now, system, dst)
	j.Promise(dst)
}

// judge gives the verdicts.
func (j *Judge) judge(now timescale.Local, system timescale.UTC, dst *clockcheck.Judgement) {
	if step := j.system.feed(now, system); step != 0 {
		j.note(now, "clock-stepped", "Another program moved the system clock by "+explain.Seconds(step)+".")
	}
	*dst = clockcheck.Judgement{At: now, Basis: clockcheck.BasisNone, Proved: dst.Proved[:0], Ancestry: dst.Ancestry[:0],
		Modes: dst.Modes[:0], References: dst.References[:0], Budget: dst.Budget[:0]}
	best := j.bank.Best()
	dst.LocalRatePPM, dst.RateBoundPPM = best.F.V[estimate.Y]*1e6, bank.Likely*best.F.Sigma(estimate.Y)*1e6
	if best.Located {
		j.bank.Advance(now)
		j.estimate(now, system, dst)
	} else if j.clock.Ticks {
		dst.Known, dst.Basis = true, clockcheck.BasisRTC
		dst.Error = float64(int64(system)-int64(now)-j.clock.Z) / 1e9
	}
	j.modes(now, dst)
}

// words says why, and what is thought of each source.
func (j *Judge) words(now timescale.Local, system timescale.UTC, dst *clockcheck.Judgement) {
	if dst.Guarded { // where UTC may be anywhere there is nothing to split
		dst.Budget = explain.Budget(dst.Budget, j.bank, dst.Guard)
	}
	dst.SecondIn = -1
	j.references(now, system, dst)
	dst.Because = explain.Because(j.bank, dst, j.bank.Told())
	dst.Warmth = explain.Warmth(&j.warm, j.rateTold(now), now)
	j.trusted(now, dst.References)
}

// capital begins a sentence with a name.
func capital(name string) string {
	if name == "" || name[0] < 'a' || name[0] > 'z' {
		return name
	}
	return strings.ToUpper(name[:1]) + name[1:]
}

func (j *Judge) estimate(now timescale.Local, system timescale.UTC, dst *clockcheck.Judgement) {
	f := &j.bank.Best().F
	lo, hi := j.guard(0)
	proved := j.bank.Proved()
	proved.Date = proved.Date && hi-lo < day // where UTC may be anywhere nobody tells the day
	dst.Known, dst.Guarded = true, proved.Date && !j.oneByOne(now)
	dst.Error = float64(int64(system)-int64(now)-f.Base)/1e9 - f.V[estimate.X] - j.bank.Correction()
	dst.Guard = math.Max(-lo, hi)
	dst.Bound = math.Min(j.bank.Bound()+math.Abs(j.bank.Correction()), dst.Guard)
	dst.ErrorLo, dst.ErrorHi = dst.Error-hi, dst.Error-lo
	dst.RatePPM = (j.system.rate - f.V[estimate.Y]) * 1e6
	dst.Basis = j.basis(now)
	dst.Proved = explain.Proved(dst.Proved, proved)
	dst.Ancestry = explain.Roots(dst.Ancestry, j.bank.Best().Roots)
}

// oneByOne tells whether UTC rests on servers alone that are being asked one after the other:
// the first to answer has not been contradicted, because nobody has had the time to.
func (j *Judge) oneByOne(now timescale.Local) bool {
	return j.bank.Best().Roots.Only(bank.Families) && j.servers.Answering(now)
}

// basis is what the best track's UTC stands on now.
func (j *Judge) basis(now timescale.Local) clockcheck.Basis {
	t := j.bank.Best()
	switch {
	case t.On.Has(bank.Pulse) && j.pulse.Fresh(now):
		return clockcheck.BasisPPS
	case t.On.Has(bank.Receiver) && !t.Out.Has(bank.Receiver) && t.Met && j.rx.Present && now.Sub(j.rx.Valid) < fresh && j.rx.Valid != 0:
		return clockcheck.BasisGNSS
	}
	newest, basis := timescale.Local(0), clockcheck.BasisHoldover
	for i := range j.servers.All() {
		if s := &j.servers.All()[i]; t.On.Has(s.Family) && now.Sub(s.At) < serverFresh && s.At > newest {
			newest, basis = s.At, clockcheck.BasisNetwork
		}
	}
	for i := range j.marks {
		if m := &j.marks[i]; m.At > newest && now.Sub(m.At) < markFresh && t.On.Any(bank.SetOf(bank.Ear, bank.Borrowed)) {
			newest, basis = m.At, clockcheck.BasisOperator
		}
	}
	for i := range j.air {
		if a := &j.air[i]; a.At > newest && now.Sub(a.At) < markFresh && t.On.Any(bank.SetOf(bank.Crowd, bank.Station)) && !t.On.Has(bank.Receiver) {
			newest, basis = a.At, clockcheck.BasisOperator
		}
	}
	if newest == 0 && t.On.Only(bank.SetOf(bank.Clock)) {
		return clockcheck.BasisRTC
	}
	return basis
}

// For the words of the basis, no verdict.
const (
	// serverFresh: a server is asked each 1,024 · 17/16 s = 18 min (package netref), and answers in
	// seconds.
	serverFresh = 20 * time.Minute
	// markFresh: for so long UTC is said to stand on a mark or a hearing (assumption).
	markFresh = time.Hour
)

// modes gives each shown mode its verdict, by guarded acceptance (JCGM 106:2012).
func (j *Judge) modes(now timescale.Local, dst *clockcheck.Judgement) {
	for i, m := range j.cfg.Modes {
		out := clockcheck.ModeJudgement{Mode: m, Verdict: clockcheck.Unknown}
		if tol := m.Tolerance.Seconds(); dst.Known && dst.Guarded {
			out.Verdict, out.Margin = terms.Accept(dst.Error, dst.Guard, tol)
		}
		out.Verdict = j.verdict.hold(i, now, out.Verdict)
		dst.Modes = append(dst.Modes, out)
	}
}

// Ahead is what the error, err now, and the guard would be t seconds from the last Judge
// if no reading ever came again; seconds, t ≥ 0.
func (j *Judge) Ahead(err, t float64) (ahead, guard float64) {
	lo, hi := j.guard(t)
	return err + j.system.drift(t, j.bank.Best().F.V[estimate.Y]), math.Max(-lo, hi)
}

// guard is where UTC may lie t seconds from the last Judge, about the estimate that is
// published, s.
func (j *Judge) guard(t float64) (lo, hi float64) {
	lo, hi = j.bank.Guard(t)
	c := j.bank.Correction()
	return lo - c, hi - c
}

// changed notes what a reading of a source has brought, or newly proved.
func (j *Judge) changed(at timescale.Local, from bank.Source) {
	p, t := j.bank.Proved(), j.bank.Best()
	if t.Located && !j.began {
		j.began = true
		j.note(at, "started", "The time now comes from "+explain.From(from)+".")
	}
	if came := t.Assumes(bank.SecondMissing) && t.Lead == 0; came != j.came {
		if j.came = came; came {
			j.note(at, "leap-data", "The receiver stepped back by whole seconds: its leap-second data has arrived.")
		}
	}
	j.countStart(&p)
	if p.Second && !j.shown.Second {
		j.note(at, "proved", "The whole second is confirmed.")
	}
	if p.Lateness && !j.shown.Lateness {
		j.note(at, "proved", "The receiver's arrival latency is confirmed.")
	}
	if from != bank.Clock && (p.Second && !j.saved.Second || p.Lateness && !j.saved.Lateness) { // what the hardware clock proves was kept already
		j.urgent, j.saved.Second, j.saved.Lateness = true, p.Second, p.Lateness || j.saved.Lateness
	}
	if out := t.Out &^ j.denied; out != 0 {
		j.urgent, j.denied = true, j.denied|out
	}
	j.shown = p
	if j.waiting.n > 0 {
		j.placeWaiting(at)
	}
}
