// Package prepare is noonmark prepare: the evening at home, when what makes the next
// night easy is learned. A status, findings and settings come in; steps come out, each
// done, under way or missing. It changes nothing: the service does the learning.
package prepare

import (
	"fmt"
	"slices"
	"strings"

	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/preflight"
	"noonmark/status"
)

// States of a step.
const (
	Done    = "done"
	Doing   = "doing"   // comes without a hand being moved
	Missing = "missing" // wants a hand
	Without = "without" // this station has none; no hindrance
)

// Step is one thing to be had before one leaves.
type Step struct {
	Name  string       `json:"name"`
	State string       `json:"state"`
	Text  string       `json:"text"`   // what is so, or what to do
	WaitS status.Float `json:"wait_s"` // another so long, where that is known
}

// Evening is what the steps are read from.
type Evening struct {
	Status    *status.Snapshot // nil = the service does not speak, for Problem
	Problem   string
	Findings  []preflight.Finding
	Settings  config.Config
	Rehearsed bool     // the status is a demo's
	Pages     []string // addresses of the page from the camp's network
}

// rateLearnedPPM: as well as it must be known to be kept over a power-off (99 %).
const rateLearnedPPM = 13

// Steps lists all there is to do, in the order of doing it.
func Steps(e Evening) []Step {
	if e.Status == nil {
		return append([]Step{{Name: "service", State: Missing, Text: e.Problem}}, e.found()...)
	}
	s := e.Status
	out := []Step{{Name: "service", State: Done, Text: "Noonmark runs. " + upper(s.Clock.SteeringText()) + "."}}
	out = append(out, receiver(s), place(s), second(s), latency(s), rate(s), hardwareClock(s), thermometer(s), modes(s), e.page(), e.report())
	for _, p := range s.Problems {
		out = append(out, Step{Name: "problem", State: Missing, Text: p.Text})
	}
	return append(out, e.found()...)
}

// Ready tells whether nothing is missing or under way.
func Ready(steps []Step) bool {
	return !slices.ContainsFunc(steps, func(s Step) bool { return s.State == Missing || s.State == Doing })
}

func reference(s *status.Snapshot, kind string) (status.Reference, bool) {
	for _, r := range s.References {
		if r.Kind == kind {
			return r, true
		}
	}
	return status.Reference{State: "absent"}, false
}

func receiver(s *status.Snapshot) Step {
	r, _ := reference(s, "gnss")
	out := Step{Name: "receiver", State: Missing, Text: r.Because}
	switch {
	case r.State == "absent" || r.State == "quiet":
		if out.Text == "" {
			out.Text = "Plug the receiver in: noonmark ports shows what is there."
		}
	case s.Receiver != nil:
		out.State, out.Text = Done, strings.TrimSuffix(s.Receiver.Device+", "+s.Receiver.Identity, ", ")+"."
	}
	return out
}

func place(s *status.Snapshot) Step {
	p := s.Position
	switch {
	case p == nil || p.Kept || p.Fix == "none" || p.Locator == "":
		return Step{Name: "place", State: Missing, Text: "Give the receiver open sky. A cold start takes some minutes."}
	case !p.BoundM.OK:
		return Step{Name: "place", State: Done, Text: p.Locator + "."}
	}
	return Step{Name: "place", State: Done, Text: fmt.Sprintf("%s, ± %.0f m.", p.Locator, p.BoundM.V)}
}

func second(s *status.Snapshot) Step {
	switch {
	case slices.Contains(s.Clock.Proved, "second"):
		return Step{Name: "second", State: Done, Text: "The whole second is confirmed."}
	case s.Clock.SecondInS.OK:
		return Step{Name: "second", State: Doing, Text: "The whole second is being confirmed.", WaitS: s.Clock.SecondInS}
	}
	return Step{Name: "second", State: Missing, Text: "The whole second needs a receiver with a fix, a network, or a mark."}
}

func latency(s *status.Snapshot) Step {
	if slices.Contains(s.Clock.Proved, "latency") {
		return Step{Name: "latency", State: Done, Text: "How late the receiver is heard is confirmed."}
	}
	r, _ := reference(s, "gnss")
	if slices.Contains([]string{"absent", "quiet", "no-fix", "settling"}, r.State) {
		return Step{Name: "latency", State: Missing, Text: "How late the receiver is heard is learned once it has a fix."}
	}
	return Step{Name: "latency", State: Missing, Text: "Connect to a network for a minute, with servers in the settings; or mark a time signal: noonmark mark."}
}

func rate(s *status.Snapshot) Step {
	b := s.Clock.RateBoundPPM
	switch {
	case b.OK && b.V <= rateLearnedPPM:
		return Step{Name: "oscillator", State: Done, Text: fmt.Sprintf("Its rate is known to ± %s ppm; the longer it runs, the better.", status.Number(b.V))}
	case b.OK:
		return Step{Name: "oscillator", State: Doing, Text: fmt.Sprintf("Its rate is known to ± %s ppm; ± %d ppm is worth keeping.", status.Number(b.V), rateLearnedPPM)}
	}
	return Step{Name: "oscillator", State: Missing, Text: "Its rate is learned from a receiver, a network or marks."}
}

func hardwareClock(s *status.Snapshot) Step {
	const name = "hardware clock"
	r, there := reference(s, "rtc")
	switch {
	case r.Battery == status.BatteryLow || r.Battery == status.BatteryEmpty:
		return Step{Name: name, State: Missing, Text: "Change its battery: it is " + r.Battery + "."}
	case !there || r.State == "absent":
		return Step{Name: name, State: Without, Text: "There is none: after a power-off the time comes from the receiver alone."}
	case r.State == "":
		return Step{Name: name, State: Done, Text: r.Because}
	case r.State == "uncompared" || r.State == "was-set":
		return Step{Name: name, State: Doing, Text: "It is compared as soon as the time is confirmed."}
	}
	return Step{Name: name, State: Missing, Text: r.Because}
}

func thermometer(s *status.Snapshot) Step {
	t := s.Thermometer
	switch {
	case t == nil:
		return Step{Name: "thermometer", State: Without, Text: "There is none; the oscillator is taken to be as restless as its kind."}
	case t.PPMPerC.OK:
		return Step{Name: "thermometer", State: Done, Text: t.Because}
	}
	return Step{Name: "thermometer", State: Without, Text: t.Sensor + ": what the temperature does to the oscillator takes some nights to learn."}
}

func modes(s *status.Snapshot) Step {
	var shown []string
	for _, m := range s.Modes {
		shown = append(shown, m.Mode)
		if m.InUse {
			return Step{Name: "mode", State: Done, Text: m.Mode + " is in use."}
		}
	}
	if len(shown) == 0 {
		return Step{Name: "mode", State: Missing, Text: "Name the modes you work: show in [modes] of the settings."}
	}
	return Step{Name: "mode", State: Without, Text: "Shown are " + strings.Join(shown, ", ") + ". Name the one in use on the page, or in_use in [modes]."}
}

// page is where a tablet in camp finds the answer.
func (e Evening) page() Step {
	switch {
	case e.Settings.Publish.HTTP == "":
		return Step{Name: "page", State: Without, Text: "It is off: http in [publish] of the settings."}
	case len(e.Pages) == 0:
		return Step{Name: "page", State: Without, Text: "It is on this computer alone, http://" + e.Settings.Publish.HTTP + "/. For the camp: http = \":8173\" in [publish]."}
	}
	return Step{Name: "page", State: Done, Text: strings.Join(e.Pages, ", ")}
}

func (e Evening) report() Step {
	if e.Settings.Report.Place == "" {
		return Step{Name: "report", State: Without, Text: "Name the place that distances are counted from: place in [report] of the settings."}
	}
	return Step{Name: "report", State: Done, Text: "Distances are counted from " + e.Settings.Report.Name + ", " + e.Settings.Report.Place + "."}
}

// found are the problems that preflight sees.
func (e Evening) found() []Step {
	var out []Step
	for _, f := range e.Findings {
		if f.State == preflight.Problem {
			out = append(out, Step{Name: f.Check, State: Missing, Text: strings.TrimSpace(f.Text + " " + f.Remedy)})
		} else if slices.Contains([]string{"leap seconds", "disk", "battery"}, f.Check) {
			out = append(out, Step{Name: f.Check, State: map[preflight.State]string{preflight.Good: Done, preflight.Note: Without}[f.State],
				Text: strings.TrimSpace(f.Text + " " + f.Remedy)})
		}
	}
	return out
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
