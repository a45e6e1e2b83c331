package page

import (
	"fmt"
	"math"

	"noonmark/status"
)

// lamp is one kind of source: lit plainly while it serves, loudly when it is lost, in
// doubt or faulty.
type lamp struct {
	ID, Name string
	State    string // on, wait, off, lost, bad
	Text     string
}

// Help is where the manual explains the lamp.
func (l lamp) Help() string {
	return help + map[string]string{"satellites": "satellites", "chip": "hardware-clock", "network": "network", "air": "the-air"}[l.ID]
}

// help is the manual's page on this page; each heading of it is a place to link to.
const help = "/manual/8-page#"

// Two states of a lamp ask for a look.
const (
	lampOn   = "on"   // tells the time and is believed
	lampWait = "wait" // warming up
	lampOff  = "off"  // there is none, or it never spoke
	lampLost = "lost" // spoke and is silent now, or its battery is low
	lampBad  = "bad"  // contradicts better evidence, or shows a fault
)

// lampWords are the lamps and the kinds of references they stand for.
var lampWords = []struct {
	id, name, none string
	kinds          []string
}{
	{"satellites", "Satellites", "no receiver", []string{"gnss", "pps"}},
	{"chip", "Hardware clock", "none", []string{"rtc"}},
	{"network", "Network", "none", []string{"network"}},
	{"air", "The air", "not heard, no mark", []string{"air", "operator"}},
}

// grades order the states, worst last: a lamp shows the worst of its references, but a
// believed one outshines those that merely never spoke.
var grades = map[string]int{lampOff: 0, lampWait: 1, lampOn: 2, lampLost: 3, lampBad: 4}

func (v *view) lamps(s *status.Snapshot) {
	for _, w := range lampWords {
		l := lamp{w.id, w.name, lampOff, w.none}
		for _, r := range s.References {
			if !among(r.Kind, w.kinds) {
				continue
			}
			if state, text := lampOf(r, s.Position); grades[state] >= grades[l.State] {
				l.State, l.Text = state, text
			}
		}
		if w.id == "air" && s.Air != nil && l.State != lampBad {
			l.State, l.Text = airLamp(s.Air)
		}
		v.Lamps = append(v.Lamps, l)
	}
}

func among(s string, list []string) bool {
	for _, l := range list {
		if l == s {
			return true
		}
	}
	return false
}

// longSilentS is when a source that should speak each second, or each few minutes, is
// called lost by its age.
const longSilentS = 10

func lampOf(r status.Reference, q *status.Position) (state, text string) {
	lost := r.AgeS.OK && r.AgeS.V >= longSilentS && r.Kind != "operator"
	switch r.Trust {
	case status.Trusted:
		switch {
		case r.Battery == status.BatteryLow || r.Battery == status.BatteryEmpty:
			return lampLost, "battery " + r.Battery
		case r.Kind == "gnss" && q != nil && q.Satellites.OK && !q.Kept:
			return lampOn, fmt.Sprintf("%.0f in use", q.Satellites.V)
		case r.Kind == "operator":
			return lampOn, "marked " + ago(r.AgeS)
		}
		return lampOn, agrees(r)
	case status.Warming:
		if q != nil && r.Kind == "gnss" && q.Fix == "none" && q.AgeS.OK && q.AgeS.V >= longSilentS {
			return lampLost, "no fix for " + spaced(status.Span(coarse(q.AgeS.V)))
		}
		return lampWait, "warming up"
	case status.Doubted:
		return lampBad, "contradicts the rest"
	case status.Faulty:
		return lampBad, "faulty"
	}
	if lost {
		return lampLost, "silent for " + spaced(status.Span(coarse(r.AgeS.V)))
	}
	return lampOff, "nothing heard"
}

// agrees words the reach of a believed source; one that leaves seconds open agrees with
// anything, and is not said to.
func agrees(r status.Reference) string {
	switch {
	case !r.BoundS.OK:
		return "believed"
	case r.BoundS.V > 2:
		return "knows it to ±" + nbsp + upTo(r.BoundS.V) + nbsp + "s only"
	}
	return "agrees, ±" + nbsp + upTo(r.BoundS.V) + nbsp + "s"
}

func airLamp(a *status.Air) (state, text string) {
	switch {
	case a.AgeS.OK && a.AgeS.V > 600:
		return lampLost, "not heard for " + spaced(status.Span(coarse(a.AgeS.V)))
	case a.Station != nil:
		return lampOn, status.Clean(*a.Station) + heard(a)
	case a.Signals == 0:
		return lampOff, "nothing heard"
	}
	return lampOn, fmt.Sprintf("%d signals", a.Signals) + heard(a)
}

func heard(a *status.Air) string {
	if !a.BoundS.OK {
		return ""
	}
	return ", ±" + nbsp + upTo(a.BoundS.V) + nbsp + "s"
}

// ago words an age, coarse enough to stand still.
func ago(age status.Float) string {
	if !age.OK {
		return "before"
	}
	return spaced(status.Span(coarse(age.V))) + " ago"
}

// coarse rounds an age down to a step that is small beside it.
func coarse(s float64) float64 {
	step := 10.0
	if s >= 120 {
		step = 60
	}
	return math.Floor(s/step) * step
}
