package page

import (
	"math"

	"noonmark/status"
)

// inState is a snapshot in one of the states that the page draws.
func inState(state string) status.Snapshot {
	s := good()
	all := func(verdict string, err, guard float64) {
		s.Clock.ErrorS, s.Clock.GuardS = status.Known(err), status.Known(guard)
		for i := range s.Modes {
			m := &s.Modes[i]
			m.Verdict, m.MarginS = verdict, status.Known(m.ToleranceS-math.Abs(err)-guard)
			if verdict != status.Within {
				m.GoodForS, m.GoodUntilUTC = status.Float{}, status.Time{}
			}
		}
	}
	switch state {
	case "ending":
		all(status.Within, 0.61, 0.33)
		s.Clock.Basis = status.BasisHoldover
		for i := range s.Modes {
			s.Modes[i].GoodForS = status.Known(740)
		}
		s.References[0].Trust, s.References[0].AgeS = status.Silent, status.Known(30240)
		s.Position.AgeS = status.Known(30240)
	case "borderline":
		all(status.Borderline, 0.75, 0.6)
		s.References[0].Trust, s.References[0].State = status.Doubted, "disagrees" // the longest advice
	case "outside":
		all(status.Outside, 5.31, 0.3)
	case "unknown":
		all(status.Unknown, 0, 0)
		s.Clock = status.Clock{Basis: status.BasisNone}
		s.Position = nil
		s.References = s.References[:1]
		s.References[0] = status.Reference{Name: "receiver", Kind: "gnss", Trust: status.Silent}
	case "demo":
		s.Live = false
	}
	return s
}
