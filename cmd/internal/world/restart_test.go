package world

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/status"
)

// restart ends the program and starts it anew after pause, the machine running on.
// Killed, it keeps only what was saved last.
func (w *World) restart(pause time.Duration, killed bool) {
	if !killed {
		w.save()
	}
	for end := w.utc.Add(pause); w.utc < end; w.to(w.utc.Add(time.Second)) {
		if w.chapter >= 0 && !w.s.NoReceiver { // it goes on, unheard
			w.rx.Emit((w.utc+timescale.UTC(time.Second)-1)/timescale.UTC(time.Second)*timescale.UTC(time.Second), w.s.Place, w.s.Story[w.chapter].Scene)
		}
	}
	w.opened, w.line = false, nil
	w.Station = station.New(w.cfg, w.kept.learned)
	w.Station.Remember(w.kept.place)
	if w.s.NoRTC {
		w.Station.RTCMissing("This computer has no hardware clock.")
	}
	if w.s.NoReceiver {
		w.Station.Lost("No receiver is plugged in.", w.local)
	} else if w.chapter >= 0 {
		w.open(w.s.Story[w.chapter].Scene)
	}
}

// The oscillator does not stop with the program: what was proved before a restart need
// not be proved again, for a quarter of an hour, on a station with a receiver alone.
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
			for w.Elapsed() < 80*time.Minute { // an hour after the proof, so that it is saved
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
			for seed := range uint64(3) {
				cfg := config()
				cfg.BootID = "b"
				w := New(s, cfg, seed+1)
				falseWithin, missed, boots := 0, 0, w.booted
				for next := time.Duration(0); w.Elapsed() < min(s.Length, 3*time.Hour); {
					snap := w.Second()
					if w.booted != boots {
						boots, w.cfg.BootID = w.booted, w.cfg.BootID+"'"
					}
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
