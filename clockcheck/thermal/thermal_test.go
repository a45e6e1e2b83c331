package thermal

import (
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/timescale"
)

// slopeNights lets a slope learn from blocks of an oscillator with a random walk of its
// rate (sd after an hour, ppm), a reference that wanders (s after an hour), a daily wave
// of the temperature.
func slopeNights(seed uint64, k, walk, wander, swing float64, hours int) *slope {
	rng := rand.New(rand.NewPCG(seed, 1))
	s := newSlope(Kept{})
	var x, y float64
	const dt = 600.0
	phase := 2 * math.Pi * rng.Float64()
	for i := range hours * 6 {
		c := swing * math.Sin(phase+2*math.Pi*float64(i)*dt/86400)
		y += walk * 1e-6 * math.Sqrt(dt/3600) * rng.NormFloat64()
		x += (y+k*1e-6*c)*dt + wander*math.Sqrt(dt/3600)*rng.NormFloat64()
		s.take(timescale.Local(float64(i+1)*dt*1e9), x+1e-3*rng.NormFloat64(), c, 1e-6, Rate{Variance: sq(1e-6)})
	}
	return &s
}

func TestSlopeIsLearned(t *testing.T) {
	for name, tt := range map[string]struct{ k, walk, wander, within float64 }{
		"a pulse":                   {-0.4, 0.1, 1e-5, 0.1},
		"a steady receiver":         {0.3, 0.1, 0.5e-3, 0.1},
		"a crystal hardly affected": {0.05, 0.05, 1e-5, 0.05},
	} {
		s := slopeNights(1, tt.k, tt.walk, tt.wander, 8, 48)
		k, _, ok := s.learned()
		if math.Abs(s.v[2]*1e6-tt.k) > tt.within || ok != (math.Abs(tt.k) > 0.1) && tt.k != 0.05 {
			t.Errorf("%s: %.3f ppm/°C (%v, used %v), want %.3f", name, s.v[2]*1e6, k, ok, tt.k)
		}
	}
}

// A rate that walks by itself while the temperature goes up and down teaches nothing:
// significance at 99 % may err once in a hundred.
func TestSlopeIsNotMadeUp(t *testing.T) {
	const nights = 400
	used, off := 0, 0
	for seed := range uint64(nights) {
		s := slopeNights(seed, 0, 0.3, 2e-3, 6, 36)
		if _, _, ok := s.learned(); ok {
			used++
		}
		if math.Abs(s.v[2]) > likely*math.Sqrt(s.p[2][2]) {
			off++
		}
	}
	if used > nights/50 || off > nights/50 {
		t.Errorf("of %d nights without any dependence %d taught one (%d beyond 99 %%)", nights, used, off)
	}
}

// A thermometer that shows the processor's work teaches nothing, however large the
// oscillator's share; one that shows the air does.
func TestRestlessThermometer(t *testing.T) {
	for _, tt := range []struct {
		name     string
		work     float64 // °C
		restless bool
	}{{"none", 0, false}, {"much", 10, true}} {
		rng := rand.New(rand.NewPCG(3, 4))
		var q rough
		c, busy := 20.0, false
		for minute := range 24 * 60 {
			if rng.Float64() < 1.0/60 {
				busy = !busy
			}
			shown := 20 + 12*math.Sin(2*math.Pi*float64(minute)/1440) + 0.2*rng.NormFloat64()
			if busy {
				shown += tt.work
			}
			c = follow(c, shown, 60, settles)
			q.take(timescale.Local(minute+1)*60e9, c)
		}
		if !q.settled() || q.restless() != tt.restless {
			t.Errorf("%s: restless %v, %.2f °C", tt.name, q.restless(), math.Sqrt(q.ms))
		}
	}
}
