package banked

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/explain"
	"noonmark/clockcheck/source/mark"
	"noonmark/clockcheck/timescale"
)

// markSilent: for so long a mark is said to have been made (assumption; words only).
const markSilent = 6 * time.Hour

// references says what is thought of each source.
func (j *Judge) references(now timescale.Local, system timescale.UTC, dst *clockcheck.Judgement) {
	dst.References = append(dst.References, j.receiverReference(now, dst), j.clockReference(now, dst))
	if s, ok := explain.Pulse(j.bank, &j.pulse, now); ok {
		dst.References = append(dst.References, reference("pulse", "pps", age(now, j.pulse.Heard), s))
	}
	for i := range j.marks {
		m := &j.marks[i]
		if m.At == 0 {
			continue
		}
		r := j.said(now, system, clockcheck.MarkName(i == 1), "operator", m.At, int64(m.UTC)-int64(m.At), m.Bound.Seconds())
		r.Trust, r.State, r.Because = j.witness(mark.Source(i == 1), now.Sub(m.At), markSilent)
		dst.References = append(dst.References, r)
	}
	for i := range j.heard {
		if a := &j.heard[i]; a.At != 0 {
			dst.References = append(dst.References, j.airReference(now, system, i, dst.Known))
		}
	}
	for i := range j.servers.All() {
		s := &j.servers.All()[i]
		r := j.said(now, system, s.Name, "network", s.At, s.Z, s.Bound)
		r.Trust, r.State, r.Because = j.witness(s.Family, now.Sub(s.At), serverFresh)
		dst.References = append(dst.References, r)
	}
}

// witness is what is thought of a server, a mark, a hearing.
func (j *Judge) witness(s bank.Source, age, silent time.Duration) (clockcheck.Trust, string, string) {
	w := explain.Witness(j.bank, s, age, silent)
	return w.Trust, w.State, w.Because
}

// reference puts together what is thought of a source that says no time by itself.
func reference(name, kind string, age float64, s explain.Said) clockcheck.Reference {
	return clockcheck.Reference{Name: name, Kind: kind, Trust: s.Trust, State: s.State, Because: s.Because, Age: age}
}

// airReference is a hearing: as it was placed, or waiting for that.
func (j *Judge) airReference(now timescale.Local, system timescale.UTC, i int, known bool) clockcheck.Reference {
	a := &j.heard[i]
	r := clockcheck.Reference{Name: a.Source, Kind: "air", Age: age(now, a.At), Signals: a.Signals, Bound: a.Bound.Seconds()}
	if now.Sub(a.At) <= markFresh && j.air[i].At != a.At {
		r.Trust, r.State = clockcheck.Warming, clockcheck.StateSettling
		r.Because = fmt.Sprintf("Heard, but it says UTC only within %.0f s, and nothing tells yet in which of these the station is.", a.Modulo.Seconds())
		return r
	}
	r.HasSaid, r.Error = known, j.airError(now, system, a)
	r.Trust, r.State, r.Because = j.witness(bank.Crowd+bank.Source(i), now.Sub(a.At), markFresh)
	return r
}

// said is a reference that said UTC − local = z, ns, at an instant.
func (j *Judge) said(now timescale.Local, system timescale.UTC, name, kind string, at timescale.Local, z int64, bound float64) clockcheck.Reference {
	y := j.bank.Best().F.V[estimate.Y]
	return clockcheck.Reference{Name: name, Kind: kind, HasSaid: true, Bound: bound, Age: age(now, at),
		Error: float64(int64(system)-int64(now)-z)/1e9 - y*now.Sub(at).Seconds()}
}

// airError is the system clock's error by a hearing, s: the one of its places that is
// nearest to what is known.
func (j *Judge) airError(now timescale.Local, system timescale.UTC, a *clockcheck.Air) float64 {
	e := j.said(now, system, a.Source, "air", a.At, int64(a.UTC)-int64(a.At), a.Bound.Seconds()).Error
	if m := a.Modulo.Seconds(); m > 0 {
		near := float64(int64(system)-int64(j.utc(now))) / 1e9
		e -= math.Round((e-near)/m) * m
	}
	return e
}

func (j *Judge) receiverReference(now timescale.Local, dst *clockcheck.Judgement) clockcheck.Reference {
	r := reference("receiver", "gnss", age(now, j.rx.Heard), explain.Receiver(j.bank, &j.rx, now))
	if r.State == clockcheck.StateSecond || r.State == clockcheck.StateLeapMissing {
		dst.SecondIn = explain.SecondIn(j.bank, &j.rx, now)
	}
	t := j.bank.Best()
	if l := &j.rx.Last; l.At != 0 && t.Located && t.Met && now.Sub(j.rx.Valid) < fresh {
		f := &t.F // what the receiver alone says: its stream plus the lateness
		r.HasSaid, r.Error = true, dst.Error+j.bank.Correction()+f.V[estimate.X]-(f.Rel(l.At, l.Z)-float64(t.Lead)+f.V[estimate.D])
		r.Bound = bank.Likely * math.Sqrt(f.P[estimate.D][estimate.D]+l.Var)
	}
	return r
}

func (j *Judge) clockReference(now timescale.Local, dst *clockcheck.Judgement) clockcheck.Reference {
	r := reference("hardware clock", "rtc", age(now, j.clock.Heard), explain.Clock(j.bank, &j.clock))
	if t := j.bank.Best(); j.clock.Ticks {
		r.HasSaid, r.Error = true, dst.Error+j.bank.Correction()
		if t.Located && t.Clocked {
			r.Error -= float64(t.F.ClockBase)/1e9 + t.F.V[estimate.R]
			r.Bound = bank.Likely * t.F.Sigma(estimate.R)
		}
	}
	return r
}

func age(now, at timescale.Local) float64 {
	if at == 0 {
		return -1
	}
	return now.Sub(at).Seconds()
}
