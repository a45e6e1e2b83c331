package sound

import (
	"math/rand/v2"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// arrivals plays seconds of blocks of 20 ms whose samples begin at start, each late by the
// device's least delay and by chance; lost samples vanish before second cut.
func arrivals(t *Tie, start timescale.Local, seconds int, least time.Duration, cut int, lost time.Duration) (brokenAt int) {
	r := rand.New(rand.NewPCG(1, 1))
	brokenAt = -1
	gone := time.Duration(0)
	for i := range seconds * 50 {
		if i == cut*50 {
			gone = lost
		}
		taken := start.Add(time.Duration(i+1)*20*time.Millisecond + gone)
		if t.Block(t.Rate/50, taken.Add(least+time.Duration(r.ExpFloat64()*float64(8*time.Millisecond)))) && brokenAt < 0 {
			brokenAt = i / 50
		}
	}
	return brokenAt
}

func TestTie(t *testing.T) {
	start := timescale.Local(1e12)
	for _, least := range []time.Duration{0, 12 * time.Millisecond, 30 * time.Millisecond} {
		tie := Tie{Rate: 12000}
		if _, _, ok := tie.At(0); ok {
			t.Error("an instant without arrivals")
		}
		if b := arrivals(&tie, start, 30, least, 999, 0); b >= 0 {
			t.Errorf("least delay %v: broken at second %d", least, b)
		}
		at, bound, ok := tie.At(5 * 12000)
		d := at.Sub(start.Add(5 * time.Second))
		if !ok || d > bound || d < -bound || bound != 16*time.Millisecond {
			t.Errorf("least delay %v: off by %v, bound %v", least, d, bound)
		}
		if want := least - 15*time.Millisecond; (d - want).Abs() > time.Millisecond { // the least delay is taken to be the middle of 0 to 30 ms
			t.Errorf("least delay %v: off by %v, want %v", least, d, want)
		}
	}
	for _, lost := range []time.Duration{100 * time.Millisecond, -100 * time.Millisecond} {
		tie := Tie{Rate: 12000}
		if b := arrivals(&tie, start, 30, 0, 10, lost); b < 10 || b > 11 {
			t.Errorf("%v lost in second 10: seen in %d", lost, b)
		}
	}
}

// TestTieOfAWrongRate: samples that come at another rate break the tie, and it says at which.
func TestTieOfAWrongRate(t *testing.T) {
	for _, row := range []struct{ said, came, want int }{
		{16000, 12000, 12000}, {12000, 48000, 48000}, {48000, 44100, 44100}, {12000, 11025, 11025}, {8000, 12000, 12000},
		{12000, 10000, 0}, // no usual rate: some are lost
	} {
		r := rand.New(rand.NewPCG(2, 2))
		tie, broken := Tie{Rate: row.said}, false
		for i := 0; !broken && i < 50*20; i++ {
			taken := timescale.Local(1e12).Add(time.Duration(i+1) * 20 * time.Millisecond)
			broken = tie.Block(row.came/50, taken.Add(time.Duration(r.ExpFloat64()*float64(8*time.Millisecond))))
		}
		if !broken || tie.Wrong() != row.want {
			t.Errorf("%d Hz said, %d come: broken %v, %d, want %d", row.said, row.came, broken, tie.Wrong(), row.want)
		}
	}
	tie := Tie{Rate: 12000}
	if arrivals(&tie, 1e12, 3, 0, 2, 333*time.Millisecond); tie.Wrong() != 0 {
		t.Errorf("one hole is taken for a rate of %d Hz", tie.Wrong())
	}
}
