package sound

import (
	"math"
	"slices"
	"time"

	"noonmark/clockcheck/timescale"
)

// A block of samples arrives some time after its last sample was taken: a block's length
// at most in the device, and what the system needs. The least of the delays of many
// blocks is the nearest to the truth. Common practice, no source.
const (
	tieMost   = 30 * time.Millisecond // of the least delay: device, USB and the recording program
	tieLost   = 60 * time.Millisecond // a second's least delay this much larger: samples were lost
	tieKeep   = 60                    // seconds that count
	tieSettle = 2                     // seconds before an instant is told
	tieRate   = 0.04                  // of the rate: half the step from 44100 to 48000 Hz
	tieRest   = time.Millisecond      // by which the least of many misses the least there can be
)

// Tie says which instant a sample belongs to, from the arrivals of blocks. The zero value
// with a Rate is ready.
type Tie struct {
	Rate    int
	samples int64 // arrived
	seconds []int64
	least   int64 // of the present second: arrival less what its samples last, ns
	until   int64
	begin   block // the first
	wrong   int
}

// block is where one ended.
type block struct {
	samples int64
	arrived timescale.Local
}

// Block takes the arrival of n samples. It reports whether samples were lost, or came out
// of nowhere, before them: then what came before has no tie to what follows.
func (t *Tie) Block(n int, arrived timescale.Local) (broken bool) {
	if t.samples += int64(n); t.samples == int64(n) {
		t.begin = block{t.samples, arrived}
	}
	delay := int64(arrived) - t.last(t.samples)
	if t.until == 0 {
		t.until, t.least = t.samples+int64(t.Rate), delay
	}
	t.least = min(t.least, delay)
	if t.samples < t.until {
		return false
	}
	if len(t.seconds) >= tieSettle {
		if d := time.Duration(t.least - slices.Min(t.seconds)); d > tieLost || d < -tieLost {
			*t = Tie{Rate: t.Rate, wrong: t.came(block{t.samples, arrived})}
			return true
		}
	}
	t.seconds = append(t.seconds, t.least)
	if len(t.seconds) > tieKeep {
		t.seconds = t.seconds[1:]
	}
	t.until = 0
	return false
}

// Wrong is the usual rate, Hz, at which the samples of the piece that broke came in truth; 0 where they came at
// the tie's.
func (t *Tie) Wrong() int { return t.wrong }

// came is the usual rate at which samples come, if it is another than the tie's: then each second's least delay lies
// further from that of the second before, by as much each time. After a hole it is further once.
func (t *Tie) came(end block) int {
	before, now := t.seconds[1]-t.seconds[0], t.least-t.seconds[len(t.seconds)-1]
	if len(t.seconds) > tieSettle || time.Duration(now-before).Abs() > tieLost/2+time.Duration(now).Abs()/10 {
		return 0
	}
	rate := float64(end.samples-t.begin.samples) / end.arrived.Sub(t.begin.arrived).Seconds()
	for _, usual := range UsualRates {
		if usual != t.Rate && math.Abs(rate/float64(usual)-1) < tieRate {
			return usual
		}
	}
	return 0
}

// last is how long n samples last, ns.
func (t *Tie) last(n int64) int64 {
	r := int64(t.Rate)
	return n/r*1e9 + n%r*1e9/r
}

// Samples is how many have arrived since the tie began.
func (t *Tie) Samples() int64 { return t.samples }

// At is the instant of sample n since the tie began, ± bound; ok is false before the
// arrivals of two seconds are known.
func (t *Tie) At(n int64) (at timescale.Local, bound time.Duration, ok bool) {
	if len(t.seconds) < tieSettle {
		return 0, 0, false
	}
	return timescale.Local(slices.Min(t.seconds)+t.last(n)) - timescale.Local(tieMost/2), tieMost/2 + tieRest, true
}
