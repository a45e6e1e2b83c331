package preflight

// Unit is what the service manager knows of a unit (systemctl(1), show).
type Unit struct {
	Loaded bool   // there is such a unit
	Failed bool   // it is in the state "failed"
	Result string // why: "exit-code", "timeout", …
}

// waiting are the units that hold back what needs the time, and the targets that stand for
// it (systemd.special(7)).
var waiting = [][2]string{{"noonmark-time-set.service", "time-set.target"}, {"noonmark-time-sync.service", "time-sync.target"}}

// waitingUnits: a unit that could not even start has told nobody what the time is worth.
// Its limit of time is an answer, no failure.
func (h *Host) waitingUnits() (out []Finding) {
	const check = "waiting for the time"
	if h.Unit == nil {
		return nil
	}
	there := false
	for _, w := range waiting {
		u, err := h.Unit(w[0])
		if err != nil || !u.Loaded {
			continue
		}
		there = true
		if u.Failed {
			out = append(out, Finding{check, Problem, w[0] + " failed (" + u.Result + "): at this start nothing waited for the time, and " + w[1] + " was not kept.",
				"See why: systemctl status " + w[0] + ". Then: sudo systemctl restart " + w[0] + "."})
		}
	}
	if there && out == nil {
		out = []Finding{{check, Good, "The units that wait for the time work.", ""}}
	}
	return out
}
