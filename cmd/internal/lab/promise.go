package lab

import (
	"fmt"

	"noonmark/cmd/internal/world"
	"noonmark/status"
)

// promiseKept is the share of what good-for says that a verdict must last if every
// reading stops.
const promiseKept = 0.9

// lookAtPromise takes the promise that a snapshot makes at its word, some six times an hour.
func (o *observer) lookAtPromise(w *world.World, s *status.Snapshot) {
	if o.rng.IntN(600) != 0 {
		return
	}
	const night = 12 * 3600.0 // s: no further is it played
	longest := 0.0
	for _, m := range s.Modes {
		if m.Verdict == status.Within && m.GoodForS.OK {
			longest = max(longest, min(m.GoodForS.V, night))
		}
	}
	if longest < 1 {
		return
	}
	for i, lasts := range w.Lasts(longest) {
		if m := &s.Modes[i]; m.Verdict == status.Within && m.GoodForS.V >= 1 {
			kept := (lasts*1.02 + 1) / min(m.GoodForS.V, night) // it is looked at in steps of 2 %
			o.night.Promises++
			if o.night.Kept = min(o.night.Kept, kept); kept < promiseKept {
				o.night.Breaks = append(o.night.Breaks, Break{"good-for is kept if every reading stops", w.Elapsed(),
					fmt.Sprintf("%s would last %.0f of %.0f s", m.Mode, lasts, m.GoodForS.V)})
			}
		}
	}
}
