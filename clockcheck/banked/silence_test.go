package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// stories are stations whose readings may stop at any time.
var stories = map[string]func(w *station){
	"a receiver alone, its lateness open": func(*station) {},
	"a server told the lateness":          func(w *station) { w.server("a", 0) },
	"an operator marked": func(w *station) {
		w.j.Mark(&clockcheck.Mark{At: w.now, UTC: w.utc.Add(60 * time.Millisecond), Bound: 200 * time.Millisecond})
	},
	"a server, then a false signal": func(w *station) {
		w.server("a", 0)
		w.run(10 * 60)
		w.lie = 700 * time.Millisecond
	},
	"restarted": func(w *station) {
		w.server("a", 0)
		w.run(40 * 60)
		w.restart(w.j.Learned(), time.Minute)
	},
}

// From any instant on, if every reading stops, the port is given up as silent after half a
// minute and the verdict lasts nine tenths of what good-for said.
func TestGoodForIsAPromise(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	const night = 12 * 3600.0 // s: no further is it played
	for name, begin := range stories {
		t.Run(name, func(t *testing.T) {
			w := newStation(t, clockcheck.Learned{})
			w.run(30)
			begin(w)
			for range 12 {
				w.run(197)
				for i, lasts := range w.j.Lasts(w.now.Add(500*time.Millisecond), w.utc.Add(500*time.Millisecond), &w.got, night) {
					if m := w.got.Modes[i]; m.Verdict == clockcheck.Within && m.GoodFor >= 1 && 1.02*lasts+1 < 0.9*min(m.GoodFor, night) {
						t.Fatalf("good for %.0f s was said, it would last %.0f s: %+v", m.GoodFor, lasts, w.got)
					}
				}
			}
		})
	}
}

// What the guard is said to become is what it becomes, when every reading stops.
func TestGuardComesAsForetold(t *testing.T) {
	for name, begin := range stories {
		w := newStation(t, clockcheck.Learned{})
		w.run(30)
		begin(w)
		w.run(40 * 60)
		for _, after := range []float64{60, 3600, 8 * 3600} {
			_, foretold := w.j.Ahead(w.got.Error, after)
			c := w.j.Clone()
			var d clockcheck.Judgement
			lasts := time.Duration(after * 1e9)
			c.Judge(w.got.At.Add(lasts), w.utc.Add(lasts), &d)
			if math.Abs(d.Guard-foretold) > 1e-4+1e-4*foretold {
				t.Errorf("%s: %.0f s later the guard is %.4f s, and %.4f were foretold", name, after, d.Guard, foretold)
			}
		}
	}
}

// A copy goes its own way.
func TestCloneIsApart(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.server("a", 0)
	w.run(60)
	c := w.j.Clone()
	c.Network(&clockcheck.Network{Server: "b", At: w.now, UTC: w.utc.Add(5 * time.Second), Bound: time.Millisecond})
	var d clockcheck.Judgement
	c.Judge(w.now, w.utc, &d)
	w.j.Judge(w.now, w.utc, &w.got)
	c.note(w.now, "of the copy", "")
	w.j.note(w.now, "of the judge", "")
	if e := c.Events(nil); e[len(e)-1].Kind != "of the copy" {
		t.Errorf("the copy's last event is %q", e[len(e)-1].Kind)
	}
	if len(w.got.References) != 3 || len(d.References) != 4 {
		t.Errorf("the copy heard another server, and has %d references; the judge has %d", len(d.References), len(w.got.References))
	}
}
