package banked

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/explain"
	"noonmark/clockcheck/source/mark"
	"noonmark/clockcheck/timescale"
)

const markSilent = 6 * time.Hour

// references says what is thought of each source.
func (j *Judge) references(now timescale.Local, system timescale.UTC, dst *clockcheck.Judgement) {
	dst.References = append(dst.References, j.receiverReference(now), j.clockReference(now, dst))
	if trust, why, ok := explain.Pulse(j.bank, &j.pulse, now); ok {
		dst.References = append(dst.References, clockcheck.Reference{Name: "pulse", Kind: "pps", Trust: trust, Because: why, Age: age(now, j.pulse.Heard)})
	}
	for i := range j.marks {
		m := &j.marks[i]
		if m.At == 0 {
			continue
		}
		r := j.said(now, system, clockcheck.MarkName(i == 1), "operator", m.At, int64(m.UTC)-int64(m.At), m.Bound.Seconds())
		r.Trust, r.Because = explain.Witness(j.bank, mark.Source(i == 1), now.Sub(m.At), markSilent)
		dst.References = append(dst.References, r)
	}
	for i := range j.air {
		a := &j.air[i]
		if a.At == 0 {
			continue
		}
		r := clockcheck.Reference{Name: a.Source, Kind: "air", Age: age(now, a.At), Signals: a.Signals, Bound: a.Bound.Seconds()}
		r.HasSaid, r.Error = dst.Known, j.airError(now, system, a)
		r.Trust, r.Because = explain.Witness(j.bank, bank.Crowd+bank.Source(i), now.Sub(a.At), markFresh)
		dst.References = append(dst.References, r)
	}
	for i := range j.servers.All() {
		s := &j.servers.All()[i]
		r := j.said(now, system, s.Name, "network", s.At, s.Z, s.Bound)
		r.Trust, r.Because = explain.Witness(j.bank, s.Family, now.Sub(s.At), serverFresh)
		dst.References = append(dst.References, r)
	}
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

func (j *Judge) receiverReference(now timescale.Local) clockcheck.Reference {
	r := clockcheck.Reference{Name: "receiver", Kind: "gnss", Age: age(now, j.rx.Heard)}
	r.Trust, r.Because = explain.Receiver(j.bank, &j.rx, now)
	return r
}

func (j *Judge) clockReference(now timescale.Local, dst *clockcheck.Judgement) clockcheck.Reference {
	r := clockcheck.Reference{Name: "hardware clock", Kind: "rtc", Age: age(now, j.clock.Heard)}
	r.Trust, r.Because = explain.Clock(j.bank, &j.clock)
	if t := j.bank.Best(); j.clock.Ticks {
		r.HasSaid, r.Error = true, dst.Error
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
