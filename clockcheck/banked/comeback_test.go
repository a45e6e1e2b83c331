package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// A signal that leads the receiver on by 264 ppm takes it away, and from seconds off past
// the truth again: in passing it is not believed.
func TestWhoPassesByIsNotBelieved(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.run(10 * time.Second)
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
	w.run(30 * time.Minute)
	w.lie = -2
	w.run(untilProved)
	w.drag = 264e-6
	w.run(4 * time.Hour)
	w.honest()
	if w.lie < 1 || w.reference("gnss").Trust == clockcheck.Trusted {
		t.Errorf("%.1f s off and believed", w.lie)
	}
	if off := math.Abs(w.got.Error - w.sys); off > 0.1 {
		t.Errorf("led astray by %.3f s", off)
	}
}

// What is wrong with the readings of the moment does not settle a disagreement.
func TestDisagreementOutlastsAnAilment(t *testing.T) {
	ail := map[string]func(w *world, r *clockcheck.GNSS){
		"stuck":     func(w *world, r *clockcheck.GNSS) { r.Repeated = true },
		"no fix":    func(w *world, r *clockcheck.GNSS) { r.Valid = false },
		"simulator": func(w *world, r *clockcheck.GNSS) { r.Simulated = true },
		"overrun":   func(w *world, r *clockcheck.GNSS) { r.Overrun = true },
		"old date":  func(w *world, r *clockcheck.GNSS) { r.Year = 1980 },
	}
	for name, spoil := range ail {
		w := newWorld(t, clockcheck.Learned{})
		w.latencyKnown()
		w.run(untilProved)
		w.want(clockcheck.Within, clockcheck.BasisGNSS)
		w.lie = 4
		w.run(time.Minute)
		for range 300 {
			w.mute = true
			w.second()
			u := time.Unix(0, int64(w.utc)).UTC()
			r := clockcheck.GNSS{At: w.local, Valid: true, Year: u.Year(), Month: int(u.Month()), Day: u.Day(), TimeOfDay: 4 * time.Second, Satellites: 8}
			spoil(w, &r)
			w.j.GNSS(&r)
			w.judge()
			if w.got.Modes[0].Verdict == clockcheck.Within || w.got.Guard < 3 {
				t.Fatalf("%s: %s by one of two that disagree, guard %.2f s", name, w.got.Modes[0].Verdict, w.got.Guard)
			}
		}
	}
}
