package receiver

import (
	"testing"
	"time"

	"noonmark/clockcheck"
)

// Epochs of a line that is too slow tell no UTC, but that it is no earlier than three in a row say: of these the least,
// for one may be damaged. One without a date, or without a fix, says nothing, nor what comes late from a buffer.
func TestOverrunIsNeverEarly(t *testing.T) {
	r := Opened(clockcheck.Serial)
	take := func(k int, say func(*clockcheck.GNSS)) (ok bool) {
		e := epoch(k, 5*time.Second)
		e.Overrun = true
		say(e)
		r.Take(e, floor, nobody)
		_, ok = r.NotBefore()
		return ok
	}
	overrun := func(*clockcheck.GNSS) {}
	for k := range 10 {
		if ok := take(k, overrun); ok != (k >= runLeast-1) {
			t.Errorf("epoch %d: %v", k, ok)
		}
	}
	want, _ := r.NotBefore()
	take(10, func(e *clockcheck.GNSS) { e.Year++ })
	if l, _ := r.NotBefore(); l.Z != want.Z || r.Fault != Overrun {
		t.Errorf("a damaged one moves it by %d ns; fault %v", l.Z-want.Z, r.Fault)
	}
	for name, say := range map[string]func(*clockcheck.GNSS){
		"no date":                  func(e *clockcheck.GNSS) { e.Year = 0 },
		"no fix":                   func(e *clockcheck.GNSS) { e.Valid = false },
		"a simulator":              func(e *clockcheck.GNSS) { e.Simulated = true },
		"from a buffer":            func(e *clockcheck.GNSS) { e.Backlog = true },
		"a firmware's default":     func(e *clockcheck.GNSS) { e.Year, e.Month, e.Day = 2006, 10, 28 },
		"a line that is no longer": func(e *clockcheck.GNSS) { e.Overrun = false },
	} {
		for k := range 5 {
			take(11+k, overrun)
		}
		if take(16, say) {
			t.Errorf("%s: it is heard", name)
		}
	}
}
