package clockcheck

import (
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// What an earlier run knew is taken up only where it can be: bad rows first.
func TestResume(t *testing.T) {
	good := Held{At: 100e9, OffsetNS: 5e18, SigmaS: 0.02, RatePPM: 3, RateSigmaPPM: 0.5, DateProved: true, Ancestry: []string{"receiver", "server"}}
	with := func(change func(*Held)) *Held { h := good; change(&h); return &h }
	for _, row := range []struct {
		name string
		held *Held
		want bool
	}{
		{"nothing", nil, false},
		{"of a later instant", with(func(h *Held) { h.At = 300e9 }), false},
		{"without an uncertainty", with(func(h *Held) { h.SigmaS = 0 }), false},
		{"without one of its rate", with(func(h *Held) { h.RateSigmaPPM = 0 }), false},
		{"good", &good, true},
	} {
		t.Run(row.name, func(t *testing.T) {
			j := New(Config{}, Learned{Held: row.held})
			now := timescale.Local(160e9)
			j.Resume(now)
			var d Judgement
			// In a minute the oscillator gains 3 ppm of it.
			j.Judge(now, timescale.UTC(160e9+5e18+180e3), &d)
			if d.Known != row.want {
				t.Fatalf("known: %v", d.Known)
			}
			if row.want && (d.Basis != BasisHoldover || d.Error < -1e-6 || d.Error > 1e-6 || d.Guard < guardZ*0.02 || d.Guard > 0.08) {
				t.Errorf("%+v", d)
			}
			if again := j.Learned().Held; (again != nil) != row.want {
				t.Errorf("kept again: %+v", again)
			}
		})
	}
}

// An estimate that stands is not replaced by an older one.
func TestResumeComesTooLate(t *testing.T) {
	j := New(Config{}, Learned{Held: &Held{At: 1e9, OffsetNS: 5e18, SigmaS: 0.02, RateSigmaPPM: 0.5, DateProved: true}})
	j.Network(&Network{Server: "192.0.2.1", At: 2e9, UTC: 6e18, Bound: 10 * time.Millisecond})
	j.Resume(3e9)
	if got := j.f.base; got != 6e18-2e9 {
		t.Errorf("UTC − local %d", got)
	}
}
