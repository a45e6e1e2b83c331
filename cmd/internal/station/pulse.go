package station

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// takePulse takes one edge of the receiver's pulse: when it came, which of its two edges
// it is, and the standard deviation of that instant.
func (s *Station) takePulse(at timescale.Local, edge clockcheck.Edge, sigma time.Duration) {
	s.judge.PPS(&clockcheck.PPS{At: at, Edge: edge, Sigma: sigma})
}

// takePulseMissing says that no pulse is to be had, and why.
func (s *Station) takePulseMissing(why string) { s.judge.PPSMissing(sentence(why)) }

// takeMark takes an operator's mark; it reports whether the mark could be placed (see
// banked.Judge.Mark).
func (s *Station) takeMark(m clockcheck.Mark) bool { return s.judge.Mark(&m) }

// takeWithdraw takes the newest mark back; it reports whether there was one.
func (s *Station) takeWithdraw(now timescale.Local) bool {
	name, _ := s.judge.withdraw()
	if name == "" {
		return false
	}
	s.note(now, "mark", "The "+name+" was taken back, with all that was learned from it.")
	return true
}

// fillMark names the mark that can be taken back.
func (s *Station) fillMark(t Tick) {
	s.snap.Mark = nil
	if name, at := s.judge.newest(); name != "" {
		s.snap.Mark = &status.Mark{Name: name, AgeS: status.Known(math.Max(t.Local.Sub(at).Seconds(), 0))}
	}
}

// takeAir takes what the radio's sound told; it reports whether that could be placed (see
// banked.Judge.Air).
func (s *Station) takeAir(a clockcheck.Air) bool { return s.judge.Air(&a) }

// fillAir says what was heard last, if anything was.
func (s *Station) fillAir() {
	s.snap.Air = nil
	age := 0.0
	for _, r := range s.judgement.References {
		if r.Kind != "air" || !r.HasSaid || s.snap.Air != nil && r.Age >= age {
			continue
		}
		age = r.Age
		a := status.Air{Signals: r.Signals, ErrorS: status.Known(r.Error), BoundS: status.Known(r.Bound), AgeS: status.Known(r.Age)}
		if name := r.Name; name != clockcheck.Crowd {
			a.Station = &name
		}
		s.snap.Air = &a
	}
}
