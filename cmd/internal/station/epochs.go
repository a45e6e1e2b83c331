package station

import (
	"fmt"
	"sort"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/gnss"
)

// drain passes finished epochs to the judge and to the place.
func (s *Station) drain() {
	for {
		e, ok := s.dec.Next()
		if !ok {
			return
		}
		e.Backlog = e.Backlog || s.stale
		if s.onEpoch != nil {
			s.onEpoch(&e)
		}
		if !s.keyed && !s.key(&e) && e.Valid {
			continue
		}
		r := reading(&e)
		r.Overrun = s.overrun(&e)
		if s.firstSentence.usual(&e) || !r.Valid {
			s.judge.GNSS(r)
		}
		s.place.take(&e, s.asleep)
	}
}

// stepSlack is by how much the times of two epochs may differ by other than their arrivals do. More is no rate: a
// receiver that goes from its own clock to its fix jumps by anything, and by whole seconds at least where the
// leap-second data come. Half of that.
const stepSlack = 500 * time.Millisecond

// key names the receiver in its present configuration once two epochs have
// shown it: identity, speed, rate and sentence set. A latency learned under
// another configuration is not this one's.
func (s *Station) key(e *gnss.Epoch) bool {
	if !e.HasTime || e.Backlog {
		return false
	}
	step, came := (e.TimeOfDay - s.lastTOD).Round(50*time.Millisecond), e.Arrival.Sub(s.lastCame)
	first := !s.heardOnce
	s.lastTOD, s.lastCame, s.heardOnce = e.TimeOfDay, e.Arrival, true
	if first || step <= 0 || (step-came).Abs() > stepSlack {
		return false
	}
	s.keyed, s.step = true, step
	s.judge.ReceiverNamed(fmt.Sprintf("%s at %d, every %s, %s", s.src.Identity, s.src.Baud, step, typeNames(e.Types)))
	return true
}

func typeNames(t gnss.Types) string {
	var names []string
	for bit, name := range map[gnss.Types]string{gnss.TypeRMC: "RMC", gnss.TypeGGA: "GGA", gnss.TypeGNS: "GNS",
		gnss.TypeGLL: "GLL", gnss.TypeZDA: "ZDA", gnss.TypeGSA: "GSA", gnss.TypeGST: "GST"} {
		if t&bit != 0 {
			names = append(names, name)
		}
	}
	sort.Strings(names)
	return strings.Join(names, "+")
}

// reading is an epoch as the judge wants it.
func reading(e *gnss.Epoch) *clockcheck.GNSS {
	r := &clockcheck.GNSS{At: e.Arrival, TimeOfDay: e.TimeOfDay, Valid: e.Valid && e.HasTime, Simulated: e.Simulated,
		LeapSecond: e.LeapSecond, Backlog: e.Backlog, Repeated: e.Repeated, Satellites: int(e.Satellites)}
	if e.DateOK && !e.OldDate {
		r.Year, r.Month, r.Day = int(e.Year), int(e.Month), int(e.Day)
	}
	return r
}
