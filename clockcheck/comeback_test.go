package clockcheck

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// Who comes back with a leap is believed after some readings; who stands still near by,
// after ten minutes; who goes on, never.
func TestComesBack(t *testing.T) {
	for _, row := range []struct {
		name         string
		away, nu     float64 // s
		ppm, jitter  float64
		after, until time.Duration // seconds of agreeing readings; 0 = not within an hour
	}{
		{"from seconds away", 3, 0.01, 0, 0.003, 9 * time.Second, 12 * time.Second},
		{"from half a second", -0.5, 0.01, 0, 0.003, 9 * time.Second, 12 * time.Second},
		{"it was near, and stands", 0.08, 0.06, 0, 0.003, 10 * time.Minute, 11 * time.Minute},
		{"and scatters", 0.2, 0.06, 0, 0.03, 10 * time.Minute, 11 * time.Minute},
		{"it goes on by 264 ppm", -0.21, -0.2, 264, 0.003, 0, 0},
		{"it goes on by 200 ppm and scatters", 0.21, 0.2, -200, 0.02, 0, 0},
	} {
		rng := rand.New(rand.NewPCG(1, 2))
		var c comeback
		c.disagrees(row.away)
		back := time.Duration(0)
		for s := 0; s < 3600 && back == 0; s++ {
			nu := row.nu + row.ppm*1e-6*float64(s) + row.jitter*rng.NormFloat64()
			if c.agrees(timescale.Local(s)*timescale.Local(time.Second), nu, 0.5e-6, sq(row.jitter)) {
				back = time.Duration(s) * time.Second
			}
		}
		if back < row.after || back > row.until {
			t.Errorf("%s: believed after %v, want %v to %v", row.name, back, row.after, row.until)
		}
	}
}

// A signal that leads the receiver on by 264 ppm takes it away, and from seconds off past
// the truth again: in passing it is not believed.
func TestWhoPassesByIsNotBelieved(t *testing.T) {
	w := newWorld(t, Learned{})
	w.run(10 * time.Second)
	w.j.Network(&Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
	w.run(30 * time.Minute)
	w.lie = -2
	w.run(untilProved)
	w.drag = 264e-6
	w.run(4 * time.Hour)
	w.honest()
	if w.lie < 1 || !w.j.rx.left() {
		t.Errorf("%.1f s off and believed", w.lie)
	}
	if off := math.Abs(w.got.Error - w.sys); off > 0.1 {
		t.Errorf("led astray by %.3f s", off)
	}
}

// What is wrong with the readings of the moment does not settle a disagreement.
func TestDisagreementOutlastsAnAilment(t *testing.T) {
	ail := map[string]func(w *world, r *GNSS){
		"stuck":     func(w *world, r *GNSS) { r.Repeated = true },
		"no fix":    func(w *world, r *GNSS) { r.Valid = false },
		"simulator": func(w *world, r *GNSS) { r.Simulated = true },
		"overrun":   func(w *world, r *GNSS) { r.Overrun = true },
		"old date":  func(w *world, r *GNSS) { r.Year = 1980 },
	}
	for name, spoil := range ail {
		w := newWorld(t, Learned{})
		w.j.cfg.Latency = 180 * time.Millisecond
		w.j.ReceiverOpened("r1", Serial)
		w.run(untilProved)
		w.want(Within, BasisGNSS)
		w.lie = 4
		w.run(time.Minute)
		for range 300 {
			w.mute = true
			w.second()
			u := time.Unix(0, int64(w.utc)).UTC()
			r := GNSS{At: w.local, Valid: true, Year: u.Year(), Month: int(u.Month()), Day: u.Day(), TimeOfDay: 4 * time.Second, Satellites: 8}
			spoil(w, &r)
			w.j.GNSS(&r)
			w.judge()
			if w.got.Modes[0].Verdict == Within || w.got.Guard < 3 {
				t.Fatalf("%s: %s by one of two that disagree, guard %.2f s", name, w.got.Modes[0].Verdict, w.got.Guard)
			}
		}
	}
}
