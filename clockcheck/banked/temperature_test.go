package banked

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/estimate"
)

// warmWorld is a world whose oscillator feels the temperature.
type warmWorld struct {
	*world
	c, k, ppm0 float64 // °C; ppm/°C of the oscillator's gain; gain at 20 °C
	mute       bool    // the thermometer is
}

func newWarmWorld(t *testing.T, l clockcheck.Learned) *warmWorld {
	return &warmWorld{world: newWorld(t, l), c: 20, ppm0: 12}
}

// let passes d, in which the temperature goes to c.
func (w *warmWorld) let(d time.Duration, c float64) {
	w.t.Helper()
	n := int(d.Minutes())
	by := (c - w.c) / float64(n)
	for range n {
		w.c += by
		w.ppm = w.ppm0 + w.k*(w.c-20)
		if !w.mute {
			w.j.Temperature(&clockcheck.Temperature{At: w.local, C: w.c, Sensor: "board"})
		}
		w.run(time.Minute)
	}
}

func coldBoard() clockcheck.Learned {
	return clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 0.1, Temperature: &clockcheck.LearnedTemperature{Sensor: "board", AtC: 20,
		PPMPerC: -0.4, Sigma: 0.03, LoC: 0, HiC: 30}}
}

// In holdover the estimate follows what was learned of the temperature: from 20 to 5 °C
// at 0.4 ppm/°C, a steady ramp of five hours, is 0.4e-6·15·18000/2 s = 54 ms.
func TestHoldoverFollowsTheTemperature(t *testing.T) {
	for name, tt := range map[string]struct {
		mute      bool
		least, to float64 // s: the error of the estimate lies between
	}{"thermometer": {false, 0, 0.010}, "none": {true, 0.045, 0.060}} {
		w := newWarmWorld(t, coldBoard())
		w.k, w.mute = 0.4, tt.mute
		w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 5 * time.Millisecond})
		w.let(time.Hour, 20)
		w.world.mute = true
		w.let(5*time.Hour, 5)
		if e := math.Abs(w.got.Error - w.sys); e < tt.least || e > tt.to {
			t.Errorf("%s: the estimate is %.4f s off, wanted %v to %v", name, e, tt.least, tt.to)
		}
		w.honest()
	}
}

// Whatever a thermometer says, what the error may be spans at no instant less than
// without it. (The guard, the larger side of that about the estimate, follows the estimate.)
func TestThermometerNeverNarrowsTheGuard(t *testing.T) {
	for _, l := range []clockcheck.Learned{{}, {RatePPM: -12, RateSigmaPPM: 0.5}, coldBoard()} {
		with, without := newWarmWorld(t, l), newWarmWorld(t, l)
		without.mute = true
		both := func(d time.Duration, c float64) {
			for range int(d.Minutes()) {
				c0 := with.c + (c-with.c)/10
				with.let(time.Minute, c0)
				without.let(time.Minute, c0)
				a, b := with.got.ErrorHi-with.got.ErrorLo, without.got.ErrorHi-without.got.ErrorLo
				if with.got.Guarded && a < b-1e-9 {
					t.Fatalf("the error spans %.6f s with a thermometer, %.6f s without", a, b)
				}
			}
		}
		both(time.Hour, 20)
		with.world.mute, without.world.mute = true, true
		both(2*time.Hour, -10)
		both(time.Hour, 30)
		with.world.mute, without.world.mute = false, false
		both(30*time.Minute, 20)
	}
}

// The guard grows with a temperature that nothing is known of: x of an oscillator that
// changes by k·a·t ppm is k·a·t²/2 off.
func TestUnlearnedTemperatureWidensTheGuard(t *testing.T) {
	w := newWarmWorld(t, clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 0.1})
	w.let(time.Hour, 20)
	w.world.mute = true
	w.let(4*time.Hour, 0)
	ramp := 0.3e-6 * 20 * (4 * 3600) / 2
	if s := w.j.bank.Best().F.Sigma(estimate.X); s < 0.95*ramp {
		t.Errorf("1σ of x is %.4f s after a change that may have made %.4f s", s, ramp)
	}
}

func TestTemperatureRefused(t *testing.T) {
	for name, bad := range map[string]float64{"too cold": -61, "too warm": 101, "no number": math.NaN(), "endless": math.Inf(1), "a jump": 45} {
		w := newWarmWorld(t, coldBoard())
		w.let(10*time.Minute, 20)
		before := w.j.warm.C
		w.j.Temperature(&clockcheck.Temperature{At: w.local, C: bad, Sensor: "board"})
		if w.j.warm.C != before {
			t.Errorf("%s: %v °C was taken", name, bad)
		}
	}
	// A jump that stays is the sensor's doing, not the crystal's: the rate stands.
	w := newWarmWorld(t, coldBoard())
	w.let(10*time.Minute, 20)
	w.world.mute = true
	w.let(10*time.Minute, 20)
	y, _ := w.rate()
	w.c = 50
	w.let(10*time.Minute, 50)
	if w.j.warm.C != 50 || math.Abs(w.ppmNow()-y) > 1e-3 {
		t.Errorf("%v °C, rate %v, was %v", w.j.warm.C, w.ppmNow(), y)
	}
}

// The views of the oscillator stay together: a receiver that comes back after a change
// of temperature in holdover is not held for a false signal.
func TestReceiverComesBackInTheCold(t *testing.T) {
	w := newWarmWorld(t, coldBoard())
	w.k = 0.4
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 5 * time.Millisecond})
	w.let(time.Hour, 20)
	w.world.mute = true
	w.let(2*time.Hour, 5)
	w.world.mute = false
	w.let(2*time.Hour, 0)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	w.honest()
}

// What is kept is read again; a file of before reads as before; a foreign value is no
// one's.
func TestLearnedTemperatureKept(t *testing.T) {
	w := newWarmWorld(t, coldBoard())
	w.rtcOn = true
	w.let(20*time.Minute, 20)
	w.let(20*time.Minute, 25)
	if r := w.j.Learned().RTC; r == nil || r.Sensor != "board" || r.TempC < 20 || r.TempC > 25 {
		t.Errorf("kept of the hardware clock: %+v", r)
	}
	got := w.j.Learned().Temperature
	if got == nil || math.Abs(got.PPMPerC+0.4) > 0.05 || got.AtC < 20 || got.AtC > 25 || got.HiC != 30 {
		t.Errorf("kept %+v", got)
	}
	var old clockcheck.Learned
	if err := json.Unmarshal([]byte(`{"rate_ppm":1,"rate_sigma_ppm":0.5,"latencies":null}`), &old); err != nil || old.Temperature != nil {
		t.Errorf("%+v, %v", old, err)
	}
	if b, _ := json.Marshal(old); string(b) != `{"rate_ppm":1,"rate_sigma_ppm":0.5,"latencies":null}` {
		t.Errorf("%s", b)
	}
	for name, change := range map[string]func(*clockcheck.LearnedTemperature){
		"no sensor":    func(l *clockcheck.LearnedTemperature) { l.Sensor = "" },
		"no crystal's": func(l *clockcheck.LearnedTemperature) { l.PPMPerC = 7 },
		"no sigma's":   func(l *clockcheck.LearnedTemperature) { l.Sigma = -1 },
		"no place's":   func(l *clockcheck.LearnedTemperature) { l.AtC = 1e300 },
		"upside down":  func(l *clockcheck.LearnedTemperature) { l.LoC, l.HiC = 30, 0 },
		"no number":    func(l *clockcheck.LearnedTemperature) { l.PPMPerC = math.NaN() },
	} {
		l := coldBoard()
		change(l.Temperature)
		j := New(clockcheck.Config{}, l)
		j.Temperature(&clockcheck.Temperature{At: 1e9, C: 0, Sensor: l.Temperature.Sensor})
		if _, kept := j.warm.Keep(); j.bank.Best().F.V[estimate.Y] != -12e-6 || kept {
			t.Errorf("%s: was used: %+v", name, l.Temperature)
		}
	}
	j := New(clockcheck.Config{}, coldBoard())
	j.Temperature(&clockcheck.Temperature{At: 1e9, C: 0, Sensor: "board"})
	if y := j.bank.Best().F.V[estimate.Y] * 1e6; math.Abs(y+4) > 1e-6 { // −12 − 0.4·(0 − 20)
		t.Errorf("the kept rate is %.3f ppm at 0 °C", y)
	}
}

// What is said of the thermometer is what is so, and what to do.
func TestWarmthSays(t *testing.T) {
	w := newWarmWorld(t, coldBoard())
	w.run(time.Minute)
	if w.got.Warmth != (clockcheck.Warmth{}) {
		t.Errorf("without a thermometer: %+v", w.got.Warmth)
	}
	says := func(part string, learned bool) {
		t.Helper()
		if g := w.got.Warmth; !strings.Contains(g.Because, part) || g.Learned != learned || g.Sensor != "board" || g.C != w.c {
			t.Errorf("%+v does not say %q", g, part)
		}
	}
	w.let(20*time.Minute, 20)
	says("changes by +0.40", true)
	w.world.mute = true
	w.let(2*time.Hour, 10)
	says("°C colder than when a reference last told the oscillator's rate; the estimate follows that by -3.", true)
	w.mute = true
	w.let(20*time.Minute, 10)
	says("has not answered for 21 min", true)

	w = newWarmWorld(t, clockcheck.Learned{})
	w.let(20*time.Minute, 20)
	says("is being learned", false)
	w.world.mute = true
	w.let(2*time.Hour, 30)
	says("the guard is wider", false)
}

func (w *warmWorld) ppmNow() float64 {
	y, _ := w.rate()
	return y
}
