package standing

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/grid"
)

var camp = point(-20.13, -67.49)

func point(lat, lon float64) grid.Point {
	p, err := grid.Degrees(lat, lon)
	if err != nil {
		panic(err)
	}
	return p
}

// sky simulates a receiver that stands at camp: 1 σ of each axis is sigma, of which
// the shares wander and last. It is written apart from the estimator's own model.
type sky struct {
	rng          *rand.Rand
	sigma        float64
	tau          time.Duration
	last, wander float64 // shares of the variance
	fixed, slow  [2]float64
	now          time.Duration
	off          [2]float64 // where the station is, m north and east of camp
}

func newSky(seed uint64, sigma float64, tau time.Duration, last, wander float64) *sky {
	s := &sky{rng: rand.New(rand.NewPCG(seed, seed*0x9e3779b97f4a7c15)), sigma: sigma, tau: tau, last: last, wander: wander}
	for i := range s.fixed {
		s.fixed[i], s.slow[i] = s.rng.NormFloat64(), s.rng.NormFloat64()
	}
	return s
}

func (s *sky) fix(after time.Duration) Fix {
	s.now += after
	a := math.Exp(-after.Seconds() / s.tau.Seconds())
	var at [2]float64
	for i := range at {
		s.slow[i] = a*s.slow[i] + math.Sqrt(1-a*a)*s.rng.NormFloat64()
		at[i] = s.off[i] + s.sigma*(math.Sqrt(s.last)*s.fixed[i]+math.Sqrt(s.wander)*s.slow[i]+math.Sqrt(1-s.last-s.wander)*s.rng.NormFloat64())
	}
	return Fix{At: timescale.Local(s.now), Point: shifted(camp, at[0], at[1]), SigmaNorthM: s.sigma, SigmaEastM: s.sigma, SpeedMS: -1}
}

func (s *sky) missM(p grid.Point) float64 {
	n, e := offset(camp, p)
	return math.Hypot(n-s.off[0], e-s.off[1])
}

// The bound must hold in 95 of 100 cases where errors last as long as assumed or
// shorter, in nearly as many where they last longer; and fall little.
func TestBoundHoldsWhateverTheWander(t *testing.T) {
	const runs = 1200
	for _, tau := range []time.Duration{5 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour} {
		for _, length := range []time.Duration{10 * time.Minute, 3 * time.Hour} {
			held, ratio := 0, 0.0
			for run := range uint64(runs) {
				s := newSky(run, 2, tau, 0.25, 0.7)
				var p Place
				for s.now < length {
					p.Take(s.fix(length / 60))
				}
				e, _ := p.Now()
				if s.missM(e.Point) <= Radius95(e.SigmaNorthM, e.SigmaEastM) {
					held++
				}
				ratio += Radius95(e.SigmaNorthM, e.SigmaEastM) / Radius95(2, 2) / runs
			}
			t.Logf("errors lasting %v, %v of fixes: the 95 %% bound is %.2f of a single fix's and holds in %d of %d", tau, length, ratio, held, runs)
			least := 94 // of 100: 95 but for what chance takes in so many runs
			if tau > wander {
				least = 92
			}
			if held < runs*least/100 {
				t.Errorf("errors lasting %v, %v of fixes: the 95 %% bound holds in %d of %d runs only", tau, length, held, runs)
			}
			if ratio < 0.5 || length == 10*time.Minute && ratio < 0.9 {
				t.Errorf("errors lasting %v, %v of fixes: the bound fell to %.2f of a single fix's", tau, length, ratio)
			}
		}
	}
}

// walk gives the time from the first step to moving, and to standing again after
// the last one, over a way of the given length.
func walk(t *testing.T, speed, wayM float64, says bool) (noticed, settled time.Duration, p *Place, s *sky) {
	t.Helper()
	s, p = newSky(3, 2, 30*time.Minute, 0.25, 0.7), new(Place)
	for range 1200 {
		p.Take(s.fix(time.Second))
	}
	if e, _ := p.Now(); e.Moving || e.Fixes < 1000 {
		t.Fatalf("standing: %+v", e)
	}
	start := s.now
	for s.off[1] < wayM {
		s.off[1] += speed
		f := s.fix(time.Second)
		if says {
			f.SpeedMS = speed
		}
		p.Take(f)
		if e, _ := p.Now(); e.Moving && noticed == 0 {
			noticed = s.now - start
		}
	}
	stop := s.now
	for range 60 {
		p.Take(s.fix(time.Second))
		if e, _ := p.Now(); !e.Moving && settled == 0 {
			settled = s.now - stop
		}
	}
	return noticed, settled, p, s
}

func TestMovementIsNoticed(t *testing.T) {
	for _, row := range []struct {
		name         string
		speed, wayM  float64
		says         bool
		atMost       time.Duration
		settlesAfter time.Duration
	}{
		{"a vehicle, speed said", 15, 900, true, 2 * time.Second, 20 * time.Second},
		{"a vehicle, speed not said", 15, 900, false, 4 * time.Second, 20 * time.Second},
		{"a walker, speed said", 1.4, 120, true, 2 * time.Second, 20 * time.Second},
		{"a walker, speed not said", 1.4, 120, false, 12 * time.Second, 20 * time.Second},
		{"carried across the camp", 0.7, 60, false, 25 * time.Second, 20 * time.Second},
	} {
		t.Run(row.name, func(t *testing.T) {
			noticed, settled, p, s := walk(t, row.speed, row.wayM, row.says)
			if noticed == 0 || noticed > row.atMost {
				t.Errorf("noticed after %v, want at most %v", noticed, row.atMost)
			}
			if settled == 0 || settled > row.settlesAfter {
				t.Errorf("settled after %v, want at most %v", settled, row.settlesAfter)
			}
			e, _ := p.Now()
			if e.Fixes > 60 || s.missM(e.Point) > Radius99(2, 2) {
				t.Errorf("the mean did not begin again: %d fixes, %.1f m off", e.Fixes, s.missM(e.Point))
			}
		})
	}
}

// A creep slower than both tests can tell at once must not leave the mean behind.
func TestCreepIsFollowed(t *testing.T) {
	s, p := newSky(5, 2, 30*time.Minute, 0.25, 0.7), new(Place)
	worst := 0.0
	for range 7200 {
		s.off[0] += 0.02
		p.Take(s.fix(time.Second))
		e, _ := p.Now()
		worst = max(worst, s.missM(e.Point))
	}
	t.Logf("creeping 0.02 m/s over 144 m: at most %.1f m off; a single fix's 99 %% radius is %.1f m", worst, Radius99(2, 2))
	if worst > 2*Radius99(2, 2) {
		t.Errorf("%.1f m off", worst)
	}
}

func TestSpikesAreNotBelieved(t *testing.T) {
	s, p := newSky(9, 2, 30*time.Minute, 0.25, 0.7), new(Place)
	for i := range 600 {
		f := s.fix(time.Second)
		if i%50 == 49 { // a reflection: 400 m off, for one fix
			f.Point = shifted(f.Point, 400, 0)
		}
		if i%70 == 69 {
			f.SpeedMS = 5
		}
		p.Take(f)
	}
	e, _ := p.Now()
	if e.Fixes != 600-12 || e.Moving || s.missM(e.Point) > Radius99(2, 2) {
		t.Errorf("%+v, %.1f m off", e, s.missM(e.Point))
	}
}

func TestUnusableFixesAreNotTaken(t *testing.T) {
	var p Place
	for _, sigma := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		p.Take(Fix{Point: camp, SigmaNorthM: sigma, SigmaEastM: 1})
		p.Take(Fix{Point: camp, SigmaNorthM: 1, SigmaEastM: sigma})
	}
	if e, ok := p.Now(); ok {
		t.Errorf("%+v", e)
	}
}

// One fix is published as the receiver said it, and a long silence begins again.
func TestFirstFixAndLongSilence(t *testing.T) {
	var p Place
	f := Fix{At: 1e9, Point: camp, SigmaNorthM: 2, SigmaEastM: 3, SpeedMS: -1}
	p.Take(f)
	if e, ok := p.Now(); !ok || e.Point != camp || e.SigmaNorthM != 2 || e.SigmaEastM != 3 || e.Fixes != 1 {
		t.Errorf("%+v", e)
	}
	f.At, f.Point = f.At.Add(2*time.Hour), shifted(camp, 3, 0)
	p.Take(f)
	if e, _ := p.Now(); e.Point != f.Point || e.Fixes != 1 || e.Moving {
		t.Errorf("after two hours without a fix: %+v", e)
	}
}

// The mean near a pole and on the antimeridian is where the fixes are.
func TestEdgesOfTheWorld(t *testing.T) {
	for _, at := range []grid.Point{point(89.99999, 10), point(-89.99999, -170), point(0, -180), point(-17, 179.9999999)} {
		var p Place
		for i := range 100 {
			p.Take(Fix{At: timescale.Local(i * 1e9), Point: shifted(at, 3*math.Sin(float64(i)), 3*math.Cos(float64(i))),
				SigmaNorthM: 3, SigmaEastM: 3, SpeedMS: 0})
		}
		e, _ := p.Now()
		if d := grid.Inverse(at, e.Point).DistanceM; d > 3 || e.Fixes != 100 || e.Moving {
			t.Errorf("%s: %.1f m off, %+v", at.Decimal(), d, e)
		}
	}
}
