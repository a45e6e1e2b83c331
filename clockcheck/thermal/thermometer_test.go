package thermal

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

func local(d time.Duration) timescale.Local { return timescale.Local(time.Hour + d) }

func near(a, b, to float64) bool { return math.Abs(a-b) <= to }

// What can be ours of what was kept: each row is out of range by one value, or by none.
func TestKeptSound(t *testing.T) {
	good := Kept{Rate: true, AtC: 20, PerC: -0.3e-6, Sigma: 0.05e-6, LoC: 5, HiC: 25}
	for _, c := range []struct {
		name string
		with func(*Kept)
		want bool
	}{
		{"good", func(*Kept) {}, true},
		{"as cold as can be", func(k *Kept) { k.AtC = leastC }, true},
		{"as hot as can be", func(k *Kept) { k.AtC = mostC }, true},
		{"colder", func(k *Kept) { k.AtC = leastC - 0.1 }, false},
		{"hotter", func(k *Kept) { k.AtC = mostC + 0.1 }, false},
		{"too steep", func(k *Kept) { k.PerC = 1.01 * steepest }, false},
		{"too steep, down", func(k *Kept) { k.PerC = -1.01 * steepest }, false},
		{"negative σ", func(k *Kept) { k.Sigma = -1e-9 }, false},
		{"no number", func(k *Kept) { k.Sigma = math.NaN() }, false},
		{"from above to below", func(k *Kept) { k.LoC, k.HiC = 10, 9 }, false},
		{"from too cold", func(k *Kept) { k.LoC = leastC - 1 }, false},
		{"to too hot", func(k *Kept) { k.HiC = mostC + 1 }, false},
	} {
		k := good
		if c.with(&k); k.Sound() != c.want {
			t.Errorf("%s: %v", c.name, !c.want)
		}
	}
	if !Sound(leastC) || !Sound(mostC) || Sound(leastC-0.1) || Sound(mostC+0.1) || Sound(math.NaN()) {
		t.Error("the range of a small computer's temperature")
	}
}

// A tuning fork turns at 25 °C: from 15 to 35 °C it is as before, at −5 °C it is slower by
// 0.034 · 30² ppm (the figures of NXP UM10301).
func TestForkTurned(t *testing.T) {
	if got := ForkTurned(15, 35); !near(got, 0, 1e-15) {
		t.Errorf("from 15 to 35 °C: %g", got)
	}
	if got := ForkTurned(25, -5); !near(got, 30.6e-6, 1e-12) {
		t.Errorf("from 25 to -5 °C: %g, want 30.6 ppm", got)
	}
}

// learnedSlope is one that is known: k per °C, learned from lo to hi.
func learnedSlope(k, lo, hi float64) Kept {
	return Kept{PerC: k, Sigma: 0.02e-6, LoC: lo, HiC: hi}
}

// While a reference tells the rate nothing is turned. From then on the rate is turned by the
// slope and the change since, smoothed over settles, and its variance grows with it.
func TestRateIsTurned(t *testing.T) {
	w := New("board", learnedSlope(-0.4e-6, 0, 30))
	if _, _, ok := w.Take(local(0), 20, true); ok || w.C != 20 || w.Raw != 20 || !w.Have {
		t.Fatalf("the first, beside a reference: %+v", w)
	}
	if _, _, ok := w.Take(local(-1), 20, true); ok || w.Heard != local(0) {
		t.Error("a reading from before the last is taken")
	}
	if y, v, ok := w.Take(local(0), 20, false); !ok || y != 0 || v != 0 {
		t.Errorf("nothing changed: turned by %g ± %g, taken %v", y, v, ok)
	}
	y, v, ok := w.Take(local(10*time.Minute), 15, false)
	felt := 5 * (1 - math.Exp(-1)) // ten minutes are one time constant
	sigma := sureShare * 0.4e-6    // a learned slope is never known better
	if !ok || !near(y, 0.4e-6*felt, 1e-12) || !near(v, rampShare*sq(sigma*felt), 1e-18) {
		t.Errorf("5 °C colder: turned by %g, variance %g, want %g, %g", y, v, 0.4e-6*felt, rampShare*sq(sigma*felt))
	}
	if warmer, turned := w.Since(); !near(warmer, -felt, 1e-9) || !near(turned, y, 1e-15) {
		t.Errorf("said to be warmer by %g °C, turned by %g", warmer, turned)
	}
	// Back to where it was: it is turned back; the variance that was added stays.
	var back, more float64
	for m := 20; m < 200; m += 10 {
		y, v, _ := w.Take(local(time.Duration(m)*time.Minute), 20, false)
		back, more = back+y, more+v
	}
	if !near(back, -y, 1e-12) || more != 0 {
		t.Errorf("as warm again: turned back by %g of %g, variance more by %g", back, -y, more)
	}
	// A reference tells the rate: what comes counts from there.
	w.Take(local(210*time.Minute), 12, true)
	if warmer, turned := w.Since(); warmer != 0 || turned != 0 {
		t.Errorf("a reference told the rate: warmer by %g, turned by %g", warmer, turned)
	}
	if y, v, ok := w.Take(local(210*time.Minute), 12, false); !ok || y != 0 || v != 0 {
		t.Errorf("and nothing changed since: turned by %g, variance %g", y, v)
	}
}

// Beyond where it was learned, and two degrees, the slope is anything that crystals have.
func TestBeyondWhatWasLearned(t *testing.T) {
	w := New("board", learnedSlope(0.4e-6, 10, 20))
	w.Take(local(0), 20, true)
	y, v, _ := w.Take(local(24*time.Hour), 30, false)
	want := rampShare * (sq(sureShare*0.4e-6*learnedSpan) + sq(unlearned*(10-learnedSpan)))
	if !near(y, 0.4e-6*learnedSpan, 1e-12) || !near(v, want, 1e-18) {
		t.Errorf("10 °C above: turned by %g, variance %g, want %g, %g", y, v, 0.4e-6*learnedSpan, want)
	}
}

// Where nothing was learned the rate is not turned, and its variance is that of crystals.
func TestNothingLearned(t *testing.T) {
	w := New("board", Kept{})
	w.Take(local(0), 20, true)
	y, v, ok := w.Take(local(24*time.Hour), 10, false)
	if want := rampShare * sq(unlearned*10); !ok || y != 0 || !near(v, want, 1e-3*want) {
		t.Errorf("10 °C colder: turned by %g, variance %g, want %g", y, v, want)
	}
	if _, _, known := w.Learned(); known {
		t.Error("a slope is said to be known")
	}
	if _, keep := w.Keep(); keep {
		t.Error("a slope is kept")
	}
}

// A rate that was kept holds at the temperature of then; but a reference knows better.
func TestKeptRate(t *testing.T) {
	k := learnedSlope(-0.4e-6, 0, 30)
	k.Rate, k.AtC = true, 25
	for _, told := range []bool{false, true} {
		w := New("board", k)
		y, v, ok := w.Take(local(0), 5, told)
		if told && (ok || w.ref != 5) {
			t.Errorf("beside a reference it counts from %g °C", w.ref)
		}
		if !told && (!near(y, 8e-6, 1e-12) || !near(v, rampShare*sq(sureShare*0.4e-6*20), 1e-16)) {
			t.Errorf("20 °C colder than then: turned by %g, variance %g", y, v)
		}
	}
	k.Rate = false
	w := New("board", k)
	if y, v, _ := w.Take(local(0), 5, false); y != 0 || v != 0 {
		t.Errorf("no rate was kept: turned by %g, variance %g", y, v)
	}
	// After a sleep the same.
	k.Rate = true
	w.slope.have = true
	if w.Restart(k); w.slope.have {
		t.Error("the blocks go on over a restart")
	}
	if y, _, _ := w.Take(local(time.Hour), 5, false); !near(y, 8e-6, 1e-12) {
		t.Errorf("after a restart: turned by %g", y)
	}
}

// A jump is refused: 10 °C at once and 2 °C a minute is the most. Where it stays, three
// times within 5 °C, the sensor is taken up again, and the rate is not turned for it.
func TestJump(t *testing.T) {
	shown := func(w *Thermometer, at time.Duration, c float64) bool {
		_, _, ok := w.Take(local(at), c, false)
		return ok
	}
	start := func() *Thermometer {
		w := New("board", learnedSlope(-0.4e-6, 0, 30))
		w.Take(local(0), 20, true)
		return &w
	}
	if w := start(); !shown(w, time.Minute, 20+jumpC+jumpRate) {
		t.Error("the fastest change is refused")
	}
	if w := start(); shown(w, time.Minute, 20+jumpC+jumpRate+0.1) || w.Raw != 20 {
		t.Error("a faster one is taken")
	}
	w := start()
	shown(w, time.Minute, 60)
	if !shown(w, 2*time.Minute, 20) || w.odds != 0 {
		t.Error("a slip makes the next doubtful")
	}
	for k, c := range []float64{60, 62, 54, 55} { // 62 to 54 is more than 5 °C: the count begins again
		if shown(w, time.Duration(3+k)*time.Minute, c) || w.Raw != 20 {
			t.Errorf("the %d. odd one, %g °C, is taken", k+1, c)
		}
	}
	w.slope.have = true
	if shown(w, 7*time.Minute, 56) || w.slope.have || w.Raw != 56 || w.C != 56 || w.slow != 56 || w.Heard != local(7*time.Minute) {
		t.Errorf("it stays: %g °C, smoothed %g", w.Raw, w.C)
	}
	if warmer, turned := w.Since(); warmer != 0 || turned != 0 {
		t.Errorf("taken for a change of the crystal: %g °C, %g", warmer, turned)
	}
	if y, v, ok := w.Take(local(8*time.Minute), 56, false); !ok || y != 0 || v != 0 {
		t.Errorf("the next one: turned by %g, variance %g, taken %v", y, v, ok)
	}
}

// A thermometer that shows the processor's work does not turn the rate; what it shows over
// hours widens it.
func TestRestlessTurnsNothing(t *testing.T) {
	w := New("board", learnedSlope(-0.4e-6, 0, 30))
	w.Take(local(0), 20, true)
	w.rough = rough{n: roughWarm + 1, ms: sq(roughMost)}
	if w.Restless() {
		t.Error("half a degree is restless")
	}
	w.rough.ms = math.Nextafter(sq(roughMost), 1)
	y, v, _ := w.Take(local(2*time.Hour), 10, false)
	felt := 10 * (1 - math.Exp(-1)) // two hours are one time constant
	if want := rampShare * sq(unlearned*felt); !w.Restless() || y != 0 || !near(v, want, 1e-6*want) {
		t.Errorf("turned by %g, variance %g, want %g", y, v, want)
	}
}

// The slope learns from a settled thermometer of now, no other.
func TestLearnsFromATemperatureOfNow(t *testing.T) {
	fed := func(heard, at time.Duration, n int, ms float64) bool {
		w := New("board", Kept{})
		w.Take(local(heard), 20, true)
		w.rough = rough{n: n, ms: ms}
		w.Learn("gnss", 0, local(at), 0, 1e-6, Rate{})
		return w.slope.block.n == 1
	}
	for _, c := range []struct {
		heard, at time.Duration
		n         int
		ms        float64
		want      bool
	}{
		{0, 0, roughWarm + 1, 0, true}, {0, BlockLasts, roughWarm + 1, 0, true}, {0, BlockLasts + 1, roughWarm + 1, 0, false},
		{1, 0, roughWarm + 1, 0, false}, {0, 0, roughWarm, 0, false}, {0, 0, roughWarm + 1, 1, false},
	} {
		if got := fed(c.heard, c.at, c.n, c.ms); got != c.want {
			t.Errorf("%+v: learned %v", c, got)
		}
	}
	var none Thermometer
	if none.Learn("gnss", 0, local(0), 0, 1e-6, Rate{}); none.slope.block.n != 0 {
		t.Error("learned without a thermometer")
	}
}

// How restless it is, is seen every ten minutes from second differences, once it has warmed
// up; a hole of twenty minutes makes none.
func TestRough(t *testing.T) {
	var q rough
	at := time.Duration(0)
	take := func(after time.Duration, c float64) { at += after; q.take(local(at), c) }
	take(0, 7)
	if q.n != 1 || q.c != [2]float64{7, 7} {
		t.Fatalf("the first: %+v", q)
	}
	if take(BlockLasts-1, 9); q.n != 1 {
		t.Errorf("sooner than ten minutes: %+v", q)
	}
	for at = 0; q.n <= roughWarm; {
		take(BlockLasts, 7+float64(q.n%2)*9)
	}
	if !q.settled() || q.ms != 0 {
		t.Fatalf("while it warms up: %+v", q)
	}
	was := q.c
	take(BlockLasts, 3)
	if d := 3 - 2*was[0] + was[1]; !near(q.ms, d*d, 1e-9) {
		t.Errorf("the first second difference: %g, want %g", q.ms, d*d)
	}
	ms := q.ms
	was = q.c
	take(2*BlockLasts-1, 4)
	d := 4 - 2*was[0] + was[1]
	if want := ms + (d*d-ms)/2; !near(q.ms, want, 1e-9) {
		t.Errorf("the second: mean %g, want %g", q.ms, want)
	}
	ms = q.ms
	if take(2*BlockLasts, 30); q.ms != ms || q.c != [2]float64{30, 30} {
		t.Errorf("after a hole: %+v", q)
	}
	if take(BlockLasts, 30); q.ms >= ms {
		t.Errorf("steady from there: %g, before %g", q.ms, ms)
	}
}
