// Package follow turns one status after the other into events worth acting on, and
// runs the operator's commands for them.
//
// A Watcher is a value machine: looks at the status go in, events come out. A Runner
// owns the commands' processes; handing it an event never waits.
package follow

import (
	"fmt"
	"strings"

	"noonmark/status"
)

// Kinds of events; each has its command.
const (
	VerdictLost     = "verdict-lost"
	VerdictRegained = "verdict-regained"
	LocatorChanged  = "locator-changed"
	TrustChanged    = "trust-changed"
	BatteryLow      = "battery-low"
)

// An Event is one thing that changed. What does not belong to its kind is empty.
type Event struct {
	Kind      string `json:"event"`
	Text      string `json:"text"` // one sentence
	Mode      string `json:"mode,omitempty"`
	Locator   string `json:"locator,omitempty"`
	Reference string `json:"reference,omitempty"`
	Is        string `json:"is,omitempty"`  // verdict, trust, battery or locator now
	Was       string `json:"was,omitempty"` // and before; "" = not known
}

const (
	locatorLength = 6  // characters that are compared: what stations exchange (common practice, no source)
	locatorHoldS  = 10 // so long a new one must stay: a station near an edge is not on the move
)

// A Watcher remembers what it saw last. Its zero value has seen nothing.
type Watcher struct {
	looked  bool
	had     bool              // the last look showed a fresh status
	within  map[string]bool   // by mode
	trust   map[string]string // by reference
	battery map[string]string // by reference
	locator string
	next    string  // a locator that has not stayed long enough
	since   float64 // when it came, boot clock
}

// A Look is one look at the status.
type Look struct {
	Status  *status.Snapshot // nil when there is none to be had
	Now     status.Now
	Problem string // why there is none
}

// Fresh reports whether l shows this machine's own clock, now: not a simulation,
// not yesterday's.
func (l Look) Fresh() bool {
	return l.Status != nil && l.Status.Live && status.Fresh(*l.Status, l.Now).OK
}

// Take compares what l shows with what was seen before. The first look is news only
// of what is wrong with a battery; a mode that was never seen within cannot be lost.
// A simulation is as good as no status.
func (w *Watcher) Take(l Look) []Event {
	if w.within == nil {
		w.within, w.trust, w.battery = map[string]bool{}, map[string]string{}, map[string]string{}
	}
	events := w.verdicts(l)
	if l.Fresh() {
		for _, r := range l.Status.References {
			events = w.reference(events, r)
		}
		events = w.place(events, l)
	}
	w.looked, w.had = true, l.Fresh()
	return events
}

// verdicts compares as "ready" answers: checked now, for the mode in use or for all.
func (w *Watcher) verdicts(l Look) (events []Event) {
	report := status.Refusal("There is no status: " + l.Problem + ".")
	if l.Status != nil {
		report, _ = status.Ready(*l.Status, l.Now, nil) // fails for named modes only
	}
	judged := map[string]bool{}
	for _, m := range report.Modes {
		within := report.Answer != status.CannotTell && m.Verdict == status.Within
		judged[m.Mode] = true
		was, known := w.within[m.Mode]
		w.within[m.Mode] = within
		switch {
		case within == was, !known && (w.had || !w.looked): // another mode is in use now
		case within:
			events = append(events, Event{Kind: VerdictRegained, Mode: m.Mode, Is: m.Verdict,
				Text: "The clock is within the tolerance of " + m.Mode + "."})
		default:
			events = append(events, lost(m.Mode, m.Verdict, report.Because, report.Advice))
		}
	}
	for mode, was := range w.within {
		if judged[mode] {
			continue
		}
		delete(w.within, mode)
		// Without a status no mode is judged; with one, the operator may have turned
		// to another mode.
		if was && len(report.Modes) == 0 {
			events = append(events, lost(mode, status.Unknown, report.Because, report.Advice))
		}
	}
	return events
}

func lost(mode, verdict, because string, next status.Advice) Event {
	text := strings.TrimSpace("Do not key up in " + mode + ". " + because)
	if next.Kind != status.AdviceNone {
		text += " " + next.Text
	}
	return Event{Kind: VerdictLost, Mode: mode, Is: verdict, Was: status.Within, Text: text}
}

func (w *Watcher) reference(events []Event, r status.Reference) []Event {
	was, known := w.trust[r.Name]
	w.trust[r.Name] = r.Trust
	if known && was != r.Trust {
		events = append(events, Event{Kind: TrustChanged, Reference: r.Name, Is: r.Trust, Was: was,
			Text: strings.TrimSpace(fmt.Sprintf("%s: %s, was %s. %s", r.Name, r.Trust, was, r.Because))})
	}
	before := w.battery[r.Name]
	w.battery[r.Name] = r.Battery
	if bad := r.Battery == status.BatteryLow || r.Battery == status.BatteryEmpty; bad && before != r.Battery {
		events = append(events, Event{Kind: BatteryLow, Reference: r.Name, Is: r.Battery, Was: before,
			Text: "The battery of the " + r.Name + " is " + r.Battery + ": change it."})
	}
	return events
}

func (w *Watcher) place(events []Event, l Look) []Event {
	if l.Status.Position == nil || l.Status.Position.Locator == "" {
		return events
	}
	loc := l.Status.Position.Locator
	loc = loc[:min(len(loc), locatorLength)]
	// A shorter one is a worse fix of the same place, a longer one a better fix.
	n := min(len(loc), len(w.locator))
	same := n > 0 && strings.EqualFold(loc[:n], w.locator[:n])
	switch {
	case w.locator == "" && (!w.looked || l.Status.Position.Kept):
		w.locator = loc
	case l.Status.Position.Kept: // where the station was, not where it is
	case same:
		if len(loc) > len(w.locator) {
			w.locator = loc
		}
		w.next = ""
	case loc != w.next:
		w.next, w.since = loc, l.Now.BoottimeS
	case l.Now.BoottimeS-w.since >= locatorHoldS:
		events = append(events, Event{Kind: LocatorChanged, Locator: l.Status.Position.Locator, Is: loc, Was: w.locator,
			Text: "The station is in " + loc + "."})
		w.locator, w.next = loc, ""
	}
	return events
}
