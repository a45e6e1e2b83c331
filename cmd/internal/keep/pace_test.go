package keep

import (
	"slices"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// First after five minutes, then at twice the age, at most 70 minutes apart, and at once where it is urgent, at most fifty
// times in one run.
func TestPace(t *testing.T) {
	var p Pace
	begin, urgent := timescale.Local(20e9), 0
	var saves []time.Duration
	for at := begin; at < begin.Add(3*time.Hour); at = at.Add(time.Second) {
		if p.Due(at, at.Sub(begin) > 2*time.Hour) {
			if at.Sub(begin) > 2*time.Hour {
				urgent++
			} else {
				saves = append(saves, at.Sub(begin))
			}
			p.Saved(at)
		}
	}
	if want := []time.Duration{5 * time.Minute, 10 * time.Minute, 20 * time.Minute, 40 * time.Minute, 80 * time.Minute}; !slices.Equal(saves, want) || urgent != 50 {
		t.Errorf("saved after %v, and %d times urgently", saves, urgent)
	}
	at := begin.Add(4 * time.Hour)
	if p.Failed(at); p.Due(at.Add(5*time.Minute-1), false) || !p.Due(at.Add(5*time.Minute), false) {
		t.Error("after a failure it is due in five minutes")
	}
}

// What is urgent seconds after a start takes no turn away: by itself it would be all that a power cut
// after 47 minutes leaves.
func TestUrgentTakesNoTurn(t *testing.T) {
	var p Pace
	var saves []time.Duration
	for at := time.Duration(0); at < 47*time.Minute; at += time.Second {
		if now := timescale.Local(at); p.Due(now, at == 13*time.Second || at == 75*time.Second) {
			saves = append(saves, at)
			p.Saved(now)
		}
	}
	if want := []time.Duration{13 * time.Second, 75 * time.Second, 5 * time.Minute, 10 * time.Minute, 20 * time.Minute, 40 * time.Minute}; !slices.Equal(saves, want) {
		t.Errorf("saved after %v", saves)
	}
}
