package clockcheck

import (
	"testing"
	"time"
)

// TestGoodForIsAPromise: from any instant on, if every reading stops, the port is given up
// as silent after half a minute and the verdict lasts nine tenths of what good-for said.
// The laboratory looks at the same on every night it plays.
func TestGoodForIsAPromise(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	const night = 12 * 3600.0 // s: no further is it played
	for name, begin := range map[string]func(w *world){
		"a receiver alone, its latency open": func(w *world) {},
		"a server told the latency": func(w *world) {
			w.j.Network(&Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
		},
		"an operator marked": func(w *world) {
			w.j.Mark(&Mark{At: w.local, UTC: w.utc.Add(60 * time.Millisecond), Bound: 200 * time.Millisecond})
		},
		"a hardware clock":    func(w *world) { w.rtcOn = true },
		"the latency wanders": func(w *world) { w.drag = -2e-6 },
		"restarted":           func(w *world) { w.run(untilProved); w.restart(true, false) },
	} {
		t.Run(name, func(t *testing.T) {
			w := newWorld(t, Learned{})
			w.sys = 0.12 // the middle of what an open latency leaves
			w.run(10 * time.Second)
			begin(w)
			looked := 0
			for range 80 {
				w.run(85 * time.Second)
				for i, lasts := range w.j.Lasts(w.local, w.utc.Add(time.Duration(w.sys*1e9)), &w.got, night) {
					m := w.got.Modes[i]
					if m.Verdict != Within || m.GoodFor < 1 {
						continue
					}
					if looked++; 1.02*lasts+1 < 0.9*min(m.GoodFor, night) {
						t.Fatalf("%s, %v after the start: good for %.0f s was said, it would last %.0f s: %+v", m.Mode.Name, w.utc, m.GoodFor, lasts, w.got)
					}
				}
			}
			if looked == 0 {
				t.Error("never within: nothing was promised")
			}
		})
	}
}
