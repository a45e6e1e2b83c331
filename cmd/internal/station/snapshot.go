package station

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// takeTick lets time pass: it closes epochs by silence, judges, and returns the
// snapshot to publish, which is good until the next call.
func (s *Station) takeTick(t Tick) *status.Snapshot {
	if s.ticked && t.AsleepS-s.asleep > 0.05 {
		s.judge.Segment(t.Local)
		if s.steer.s != nil {
			s.steer.s.Segment()
		}
	}
	if !s.ticked && s.ofThisBoot() && math.Abs(t.AsleepS-s.former.AsleepS) < 0.05 {
		s.judge.Resume(t.Local)
	}
	s.asleep, s.ticked = t.AsleepS, true
	for _, r := range s.early {
		s.takeNetwork(r)
	}
	s.early = nil
	if s.open {
		s.dec.Flush(t.Local)
		s.drain()
	}
	s.judge.Judge(t.Local, t.System, &s.judgement)
	s.events = s.judge.Events(s.events)
	s.decide(t)
	if n := len(s.events) - maxEvents; n > 0 {
		s.events = append(s.events[:0], s.events[n:]...)
	}
	s.fill(t)
	return &s.snap
}

// fillEvents dates the events by what is known of UTC now, which may be more than
// was known when they happened; by the system clock while nothing is known.
func (s *Station) fillEvents(t Tick) {
	utc := t.System
	if s.judgement.Known {
		utc = utc.Add(-d(s.judgement.Error))
	}
	s.snap.Events = s.snap.Events[:0]
	for _, e := range s.events {
		s.snap.Events = append(s.snap.Events, status.Event{UTC: status.At(utc.Add(e.At.Sub(t.Local))), Kind: e.Kind, Text: e.Text})
	}
}

func d(s float64) time.Duration { return time.Duration(s * 1e9) }

// fill writes the judgement into the snapshot.
func (s *Station) fill(t Tick) {
	j := &s.judgement
	out := &s.snap
	out.Schema, out.Live = status.SchemaName, s.cfg.Live
	out.Written = status.Written{SystemUTC: status.At(t.System), BootID: s.cfg.BootID, BoottimeS: t.BoottimeS,
		StaleAfterS: staleAfter, AsleepS: status.Known(t.AsleepS)}
	out.Clock = status.Clock{Basis: string(j.Basis), Proved: j.Proved, Ancestry: j.Ancestry,
		Because: j.Because, Budget: out.Clock.Budget[:0]}
	out.Clock.Steering, out.Clock.SteeringBecause = s.word()
	if j.Known {
		out.Clock.ErrorS = status.Known(j.Error)
	}
	if j.Guarded {
		out.Clock.BoundS, out.Clock.GuardS = status.Known(j.Bound), status.Known(j.Guard)
		out.Clock.RatePPM, out.Clock.RateBoundPPM = status.Known(-j.LocalRatePPM), status.Known(j.RateBoundPPM)
		out.Clock.ClockRatePPM = status.Known(j.RatePPM)
	}
	for _, b := range j.Budget {
		out.Clock.Budget = append(out.Clock.Budget, status.Term{Term: b.Name, GuardS: status.Known(b.GuardS), Because: b.Because})
	}
	if out.Clock.SecondInS = (status.Float{}); j.SecondIn >= 0 {
		out.Clock.SecondInS = status.Known(j.SecondIn)
	}
	s.fillModes(t)
	s.fillThermometer()
	out.References = out.References[:0]
	for _, r := range j.References {
		ref := reference(r)
		if r.Kind == "rtc" {
			ref.Battery = s.battery
		}
		out.References = append(out.References, ref)
	}
	s.fillAir()
	s.fillMark(t)
	s.fillEvents(t)
	out.Position = s.place.position(t, s.datedUTC(t.System))
	out.Receiver = s.receiver()
	s.advice = status.Advise(out, status.Asked(out.Modes))
	out.Advice = &s.advice
}

// takeProblems says what the station's process cannot do: the next snapshots tell of it.
func (s *Station) takeProblems(list []status.Problem) { s.snap.Problems = list }

func (s *Station) fillThermometer() {
	w := &s.judgement.Warmth
	if s.snap.Thermometer = nil; w.Sensor == "" {
		return
	}
	s.snap.Thermometer = &status.Thermometer{Sensor: w.Sensor, Celsius: status.Known(w.C), Because: w.Because}
	if w.Learned {
		s.snap.Thermometer.PPMPerC, s.snap.Thermometer.BoundPPMPerC = status.Known(w.PPMPerC), status.Known(w.Bound)
	}
}

func (s *Station) fillModes(t Tick) {
	s.snap.Modes = s.snap.Modes[:0]
	for _, m := range s.judgement.Modes {
		out := status.Mode{Mode: m.Mode.Name, InUse: m.Mode.Name == s.cfg.InUse, PeriodS: m.Mode.Period.Seconds(),
			ToleranceS: m.Mode.Tolerance.Seconds(), Verdict: string(m.Verdict)}
		if s.judgement.Guarded {
			out.MarginS = status.Known(m.Margin)
		}
		if m.Verdict == clockcheck.Within {
			utc := t.System.Add(-d(s.judgement.Error)).Add(d(m.GoodFor))
			out.GoodForS = status.Known(m.GoodFor)
			out.GoodUntilUTC = status.At(utc / timescale.UTC(timescale.Second) * timescale.UTC(timescale.Second))
		}
		s.snap.Modes = append(s.snap.Modes, out)
	}
}

func reference(r clockcheck.Reference) status.Reference {
	out := status.Reference{Name: r.Name, Kind: r.Kind, Trust: string(r.Trust), State: r.State, Because: r.Because}
	if r.HasSaid {
		out.ErrorS = status.Known(r.Error)
		if r.Bound > 0 {
			out.BoundS = status.Known(r.Bound)
		}
	}
	if r.Age >= 0 {
		out.AgeS = status.Known(r.Age)
	}
	return out
}

// receiver counts what came from the port.
func (s *Station) receiver() *status.Receiver {
	if s.dec == nil {
		return nil
	}
	c := s.dec.Counts()
	out := &status.Receiver{Device: s.src.Device, Identity: s.src.Identity, Baud: s.src.Baud, Sentences: int64(c.Sentences),
		Epochs: int64(c.Epochs), EpochsValid: int64(c.Valid), Skipped: make(map[string]int64, len(c.Skipped))}
	for why, n := range c.Skipped {
		out.Skipped[why] = int64(n)
	}
	return out
}
