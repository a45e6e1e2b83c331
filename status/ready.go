package status

import (
	"fmt"
	"noonmark/clockcheck/terms"
	"strings"
)

// Answers to "may I key up?".
const (
	Yes        = "yes"
	No         = "no"
	CannotTell = "cannot tell"
)

// A Report answers "may I key up?" for the moment it was asked.
type Report struct {
	Modes   []Mode `json:"modes"` // those asked for, judged now
	Clock   Clock  `json:"clock"` // as of now, steps since the writing included
	Answer  string `json:"answer"`
	Because string `json:"because"` // one sentence
	Advice  Advice `json:"advice"`  // what to do next
	// Simulated: the status speaks of no real clock; the answer is CannotTell.
	Simulated bool    `json:"simulated,omitempty"`
	moved     bool    // something moved the clock since: Because says so
	rehearsed *Report // what is said in the simulation
}

// ExitCode is 0 for yes, 1 for no, 3 for cannot tell.
func (r Report) ExitCode() int {
	switch r.Answer {
	case Yes:
		return 0
	case No:
		return 1
	}
	return 3
}

// A ModeError says that a mode was asked for that the status does not judge: a
// usage error.
type ModeError struct {
	Mode  string
	Known []string
}

func (e *ModeError) Error() string {
	return fmt.Sprintf("status: mode %q is not judged here; these are: %s",
		clip(e.Mode, 40), strings.Join(e.Known, ", "))
}

// Refusal is the report when there is no status to judge: the answer is
// CannotTell, because is one sentence.
func Refusal(because string) Report {
	return Report{Modes: []Mode{}, Answer: CannotTell, Because: because, Advice: start,
		Clock: Clock{Basis: BasisNone, Steering: SteeringObserving}}
}

// start is the advice where noonmark does not speak.
var start = Advice{Kind: AdviceStart, Text: "Start noonmark: sudo systemctl restart noonmark, or noonmark run."}

// Asked is which of all the answer is about where no mode was named: the mode in use,
// else all.
func Asked(all []Mode) []Mode {
	for i := range all {
		if all[i].InUse {
			return all[i : i+1]
		}
	}
	return all
}

// Ready answers for the modes named, in any case of letters; with none named, for
// the mode in use, else for every mode of the status. The error is a *ModeError.
//
// The clock is checked as of now: a step since the writing is added to the
// error, and a good-until that has passed counts. Nothing is ever better than it
// was published.
func Ready(s Snapshot, now Now, names []string) (Report, error) {
	modes, err := choose(s.Modes, names)
	if err != nil {
		return Report{}, err
	}
	r := Report{Modes: modes, Clock: s.Clock, Answer: CannotTell}
	fresh := Fresh(s, now)
	switch {
	case !s.Live:
		r.Because, r.Advice, r.Simulated = "This is a simulation or a replay. It says nothing of this computer's clock.", start, true
		if fresh.OK {
			r.rehearsed = rehearsed(s, now, names)
		}
		return withoutVerdicts(r), nil
	case !fresh.OK:
		r.Because, r.Advice = fresh.Because, start
		return withoutVerdicts(r), nil
	case len(modes) == 0:
		r.Because, r.Advice = "The status judges no mode. Name some in [modes] show of the configuration.", Advise(&s, nil)
		return r, nil
	}
	r.Clock = shifted(s.Clock, fresh)
	r.Answer = Yes
	for i, m := range r.Modes {
		r.Modes[i] = rejudge(m, r.Clock, fresh, now)
		if r.Modes[i].Verdict != Within {
			r.Answer = No
		}
	}
	r.Because, r.moved = r.Clock.Because, fresh.StepS != 0
	s.Clock = r.Clock
	r.Advice = Advise(&s, r.Modes)
	return r, nil
}

// Rehearsed is what would be said if the simulation were real; ok is false where there is
// no fresh simulation.
func (r Report) Rehearsed() (in Report, ok bool) {
	if r.rehearsed == nil {
		return Report{}, false
	}
	return *r.rehearsed, true
}

// rehearsed is what Ready would say in the simulation, whose clock may go at any speed.
func rehearsed(s Snapshot, now Now, names []string) *Report {
	s.Live, s.Written.StaleAfterS = true, maxStaleS
	now.BoottimeS, now.System, now.AsleepS = s.Written.BoottimeS, s.Written.SystemUTC.V, s.Written.AsleepS
	r, err := Ready(s, now, names)
	if err != nil {
		return nil
	}
	return &r
}

// choose copies the modes asked for out of all.
func choose(all []Mode, names []string) ([]Mode, error) {
	out := make([]Mode, 0, len(all))
	for _, name := range names {
		i := 0
		for i < len(all) && !strings.EqualFold(all[i].Mode, name) {
			i++
		}
		if i == len(all) {
			e := &ModeError{Mode: name}
			for _, m := range all {
				e.Known = append(e.Known, m.Mode)
			}
			return nil, e
		}
		out = append(out, all[i])
	}
	if len(names) > 0 {
		return out, nil
	}
	return append(out, Asked(all)...), nil
}

// withoutVerdicts takes out of r what must not be believed now.
func withoutVerdicts(r Report) Report {
	r.Clock = Clock{Basis: BasisNone, Steering: SteeringObserving, Because: r.Because}
	for i, m := range r.Modes {
		r.Modes[i] = Mode{Mode: m.Mode, InUse: m.InUse, PeriodS: m.PeriodS,
			ToleranceS: m.ToleranceS, Verdict: Unknown}
	}
	return r
}

// shifted is the clock as of now: its error moved by the step, its bound and
// guard widened by what cannot be seen.
func shifted(c Clock, f Freshness) Clock {
	if c.ErrorS.OK {
		c.ErrorS = Known(c.ErrorS.V + f.StepS)
	}
	if c.GuardS.OK {
		c.GuardS = Known(c.GuardS.V + f.slackS)
	}
	if c.BoundS.OK {
		c.BoundS = Known(c.BoundS.V + f.slackS)
	}
	if f.StepS != 0 {
		c.Because = f.Because
	}
	return c
}

// rejudge is the published verdict on m held against the clock as of now. It
// never comes out better than it was.
func rejudge(m Mode, c Clock, f Freshness, now Now) Mode {
	if m.Verdict == Unknown || !usable(m, c) {
		m.Verdict, m.MarginS, m.GoodForS, m.GoodUntilUTC = Unknown, Float{}, Float{}, Time{}
		return m
	}
	v, margin := terms.Accept(c.ErrorS.V, c.GuardS.V, m.ToleranceS)
	m.MarginS = Known(margin)
	if m.GoodForS.OK {
		m.GoodForS = Known(m.GoodForS.V - f.AgeS)
	}
	switch {
	case v == terms.Outside:
		m.Verdict = Outside
	case m.Verdict != Within:
	case v != terms.Within, expired(m, c, now):
		m.Verdict = Borderline
	}
	if m.Verdict != Within || f.StepS != 0 {
		// After a step the old promise is about another clock.
		m.GoodForS, m.GoodUntilUTC = Float{}, Time{}
	}
	return m
}

// usable reports whether the numbers are there and are such as a verdict can
// rest on: a file can say anything.
func usable(m Mode, c Clock) bool {
	switch m.Verdict {
	case Within, Borderline, Outside:
	default:
		return false
	}
	return c.Basis != BasisNone && c.ErrorS.OK && c.GuardS.OK && c.GuardS.V >= 0 &&
		m.ToleranceS > 0 && m.ToleranceS <= 1e6
}

// expired reports whether m's promise has run out: good_for_s by the boot clock,
// good_until_utc by the system clock less its error.
func expired(m Mode, c Clock, now Now) bool {
	if m.GoodForS.OK && m.GoodForS.V < 0 {
		return true
	}
	return m.GoodUntilUTC.OK && seconds(now.System)-c.ErrorS.V > seconds(m.GoodUntilUTC.V)
}
