package world

import (
	"math"
	"testing"
	"time"

	"noonmark/status"
)

// restart ends the program and starts it again after pause, the machine running on.
// Killed, it keeps only what was saved last.
func (w *World) restart(pause time.Duration, killed bool) {
	c := Chapter{Down: pause, Stopped: !killed}
	if w.chapter >= 0 {
		c.Scene = w.s.Story[w.chapter].Scene
	}
	w.down(&c)
}

// The oscillator does not stop with the program: what was proved before a restart need
// not be proved again, for half an hour, on a station with a receiver alone.
func TestRestartGoesOn(t *testing.T) {
	for _, row := range []struct {
		name   string
		boot   string // of the second run
		killed bool
		want   string
	}{
		{"bad: another boot", "b2", false, status.Borderline},
		{"stopped and started", "b", false, status.Within},
		{"killed", "b", true, status.Within},
	} {
		t.Run(row.name, func(t *testing.T) {
			cfg := steered("")
			cfg.BootID = "b"
			s, _ := Named("camp")
			s.NoRTC, s.Story = true, s.Story[:1]
			w := New(s, cfg, 1)
			var snap *status.Snapshot
			for w.Elapsed() < 85*time.Minute { // after the third save (package keep: at 5, 10, 80 min), the first after the proof
				snap = w.Second()
			}
			if v := snap.Modes[0]; v.Verdict != status.Within {
				t.Fatalf("before: %+v", v)
			}
			w.cfg.BootID = row.boot
			w.restart(5*time.Second, row.killed)
			for range 2 {
				snap = w.Second()
			}
			if known := snap.Clock.GuardS.OK; known != (row.boot == "b") {
				t.Errorf("before the receiver is heard: %+v", snap.Clock)
			}
			for range 20 {
				snap = w.Second()
			}
			if snap.Clock.Basis != status.BasisGNSS || snap.Modes[0].Verdict != row.want {
				t.Errorf("%s, %s %+v", snap.Modes[0].Verdict, snap.Clock.Basis, snap.Clock)
			}
		})
	}
}

// The property above all others with restarts at any instant, in every story.
func TestRestartsNeverFalselyWithin(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine, and ten times slower under the race detector")
	}
	for _, s := range Scenarios() {
		t.Run(s.Name, func(t *testing.T) {
			t.Parallel()
			for seed := range seeds() {
				w := New(s, config(), seed+1)
				falseWithin, missed := 0, 0
				for next := time.Duration(0); w.Elapsed() < min(s.Length, 3*time.Hour); {
					snap := w.Second()
					if c := snap.Clock; c.GuardS.OK && math.Abs(c.ErrorS.V-w.SystemError()) > c.GuardS.V {
						missed++
					}
					for _, m := range snap.Modes {
						if m.Verdict == status.Within && math.Abs(w.SystemError()) > m.ToleranceS {
							falseWithin++
						}
					}
					if next -= time.Second; next < 0 {
						w.restart(time.Duration(w.rng.IntN(30))*time.Second, w.rng.IntN(3) == 0)
						next = time.Duration(10+w.rng.IntN(1200)) * time.Second
					}
				}
				if falseWithin > 0 || missed > 0 {
					t.Errorf("seed %d: %d s of false within, %d s in which error ± guard missed the truth", seed+1, falseWithin, missed)
				}
			}
		})
	}
}
