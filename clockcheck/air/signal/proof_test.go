package signal

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"noonmark/clockcheck/air/airtest"
)

// TestFalseClaims: a rival that is as true as the claim is beaten in falseClaims of sounds, whatever its second's
// differences look like, and in no fewer where they are normal: so nothing right is refused in vain.
func TestFalseClaims(t *testing.T) {
	r := rand.New(rand.NewPCG(41, 1))
	for name, draw := range map[string]func() float64{
		"normal":      r.NormFloat64,
		"two values":  func() float64 { return float64(2*r.IntN(2) - 1) },
		"heavy tails": func() float64 { return r.NormFloat64() / (math.Abs(r.NormFloat64()) + 1e-3) },
		"few at all":  func() float64 { return r.NormFloat64() * float64(r.IntN(4)/3) },
	} {
		for _, n := range []int{18, 73} { // the least sound, and a usual one
			if name == "two values" && n == 18 {
				continue // the sums of so few have wide steps: 4e-3
			}
			const sounds = 200000
			won, of := 0, make([]float64, n)
			for range sounds {
				for i := range of {
					of[i] = 1 + draw()
				}
				c, same := claim(of), make([]float64, n)
				for i := range same {
					same[i] = 1
				}
				if c.against(same); c.won() {
					won++
				}
			}
			want := falseClaims * sounds
			if float64(won) > want+4*math.Sqrt(want) || name == "normal" && float64(won) < want-4*math.Sqrt(want) {
				t.Errorf("%s, %d seconds: won %d of %d, want %.0f", name, n, won, sounds, want)
			}
		}
	}
}

// TestEachRivalCounts: one rival as true as the claim is enough to refuse it, and the claim that each second bears
// out alike is not lost to rounding.
func TestEachRivalCounts(t *testing.T) {
	r := rand.New(rand.NewPCG(41, 2))
	for _, n := range []int{18, 23, 58, 73} {
		var of, weak, same []float64
		for range n {
			of, weak, same = append(of, 2+r.Float64()), append(weak, r.Float64()), append(same, 2+r.Float64())
		}
		c := claim(of)
		if c.against(weak, weak); !c.won() {
			t.Errorf("%d seconds: %+v", n, c)
		}
		if c.against(same); c.won() {
			t.Errorf("%d seconds, one rival as true: %+v", n, c)
		}
		if c.against(weak); c.won() {
			t.Errorf("%d seconds: a weak rival after a true one: %+v", n, c)
		}
		for _, d := range []float64{0.1, 1. / 3, 7} {
			c, less := claim(of), make([]float64, n)
			for i := range less {
				less[i] = of[i] - d
			}
			if c.against(less); !c.won() {
				t.Errorf("%d seconds, each by %v: %+v", n, d, c)
			}
			lost := claim(less)
			if lost.against(of); lost.won() || lost.chance() < 0.999 {
				t.Errorf("%d seconds, less by %v in each: %+v", n, d, lost)
			}
		}
	}
}

// TestEach: from the second second on, at most half a second after its place in it.
func TestEach(t *testing.T) {
	x := track{make([]float64, 10000), 1}
	for i := range x.env {
		x.env[i] = weak * math.Expm1(float64(i)/100) // so that its evidence is a hundredth of the ms
	}
	for _, row := range []struct{ begin, d, want int }{{0, 0, 1000}, {999, 0, 1999}, {300, 500, 1800}, {300, 501, 801}, {0, -100, 900}, {0, 990, 990}} {
		for s, v := range x.each(row.begin, row.d, 8) {
			if math.Round(100*v) != float64(row.want+s*1000) {
				t.Errorf("%+v, second %d: ms %v", row, s, 100*v)
			}
		}
	}
}

// pulsesOf is 75 s of pulses of a tone, as many ms after each second and as long as at says; 0 ms long = none.
func pulsesOf(seed uint64, hz, snr float64, at func(second int) (begin, long float64)) []float32 {
	x := make([]complex128, 75*airtest.Rate)
	for s := range 75 {
		begin, long := at(s)
		from := s*airtest.Rate + int(begin*airtest.Rate/1000)
		for i := from; i < min(from+int(long*airtest.Rate/1000), len(x)); i++ {
			x[i] = cmplx.Rect(airtest.Amplitude(snr), 2*math.Pi*hz*float64(i)/airtest.Rate)
		}
	}
	r := rand.New(rand.NewPCG(seed, 43))
	return airtest.Noise(r, airtest.Moderate.Pass(r, x))
}

// TestTickByLengthAndTone: a pulse each second is the station whose length and tone it has, and of other lengths
// and tones none.
func TestTickByLengthAndTone(t *testing.T) {
	for _, row := range []struct {
		hz, ms float64
		name   string
	}{
		{1000, 5, "WWV"}, {1200, 5, "WWVH"}, {1000, 10, "BPM"}, {1000, 300, "CHU"},
		{1000, 20, ""}, {1000, 40, ""}, {1000, 100, ""}, {1000, 500, ""}, {1200, 10, ""}, {1200, 300, ""},
		{800, 5, ""}, {1400, 5, ""}, {930, 100, ""}, {1060, 20, ""}, {1170, 40, ""}, {600, 10, ""},
	} {
		for seed, snr := range []float64{10, 3} {
			var got string
			for _, s := range Find(pulsesOf(uint64(seed), row.hz, snr, func(int) (float64, float64) { return 345, row.ms })) {
				if got += s.Name; math.Abs(s.SecondS-0.345) > 0.003 {
					t.Errorf("%v Hz, %v ms, %v dB: the second at %.4f s", row.hz, row.ms, snr, s.SecondS)
				}
			}
			if got != row.name {
				t.Errorf("%v Hz, %v ms, %v dB: %q, want %q", row.hz, row.ms, snr, got, row.name)
			}
		}
	}
}

// TestClicksEachSecond: a click has all tones, and so none of its own.
func TestClicksEachSecond(t *testing.T) {
	r := rand.New(rand.NewPCG(44, 1))
	for range 3 {
		x := make([]float32, 75*airtest.Rate)
		for s := range 75 {
			for i := range 12 {
				x[s*airtest.Rate+2760+i] = float32(40 * math.Exp(-float64(i)/3) * r.NormFloat64())
			}
		}
		if all := Find(airtest.Noise(r, x)); len(all) != 0 {
			t.Errorf("%+v", all)
		}
	}
}

// TestCHUWeak: of its 0.3 s far more is heard than of a tick, so that it is found where it is as loud as noise in
// 790 Hz (−5 dB): before, none at −5 dB and 12 of 40 at 0 dB.
func TestCHUWeak(t *testing.T) {
	for seed := range uint64(6) {
		x, clock := hear(rand.New(rand.NewPCG(seed, 45)), "CHU", -5, airtest.Moderate)
		all := Find(x)
		if len(all) != 1 || all[0].Name != "CHU" {
			t.Fatalf("seed %d: %+v", seed, all)
		}
		at := clock.Begin.Add(time.Duration(all[0].SecondS * 1e9))
		if d := math.Remainder(float64(at.Nanosecond())/1e9, 1); math.Abs(d) > 0.004 {
			t.Errorf("seed %d: the second %.1f ms off", seed, 1e3*d)
		}
	}
}

// TestAnyLength: sound that does not end with a second is read as what it holds of whole ones.
func TestAnyLength(t *testing.T) {
	for _, name := range []string{"WWV", "BPM", "CHU"} {
		x := airtest.Hear(rand.New(rand.NewPCG(46, 1)), airtest.Channel{}, 76, airtest.Clock{Name: name, Begin: time.Date(2031, 2, 3, 4, 5, 20, 0, time.UTC), SNRdB: 10})
		for n := 75 * airtest.Rate; n < len(x); n += 1003 {
			if all := Find(x[:n]); len(all) != 1 || all[0].Name != name {
				t.Errorf("%s, %d samples: %+v", name, n, all)
			}
		}
	}
	x := airtest.Hear(rand.New(rand.NewPCG(46, 2)), airtest.Channel{}, 76, airtest.Clock{Name: "RWM", Begin: time.Date(2031, 2, 3, 4, 12, 20, 0, time.UTC), SNRdB: 10, Hz: 700})
	for n := 75 * airtest.Rate; n < len(x); n += 2003 {
		if _, ok := FindRWM(x[:n]); !ok {
			t.Errorf("RWM, %d samples: nothing", n)
		}
	}
}

// TestCarrierIsNoMinute: RWM's plain carrier begins with the minute. In sound that ends with some seconds of it, one of
// them may be louder than the minute's begin by fading; it lasts longer than a minute's tone.
func TestCarrierIsNoMinute(t *testing.T) {
	for _, louder := range []float64{1, 5} { // by amplitude, from a second after the carrier's begin
		c := airtest.Clock{Name: "RWM", Begin: time.Date(2031, 2, 3, 4, 28, 46, 0, time.UTC), SNRdB: 10, Hz: 700}
		x := c.Signal(75.9)
		for i := range x {
			if i >= 75*airtest.Rate {
				x[i] *= complex(louder, 0)
			}
		}
		if s, ok := FindRWM(airtest.Noise(rand.New(rand.NewPCG(47, 1)), airtest.Channel{}.Pass(nil, x))); ok && math.Abs(s.MinuteS-14) > 0.01 {
			t.Errorf("%v: %+v, want 14 s", louder, s)
		}
	}
}

// TestHalfForEach: where half of the seconds say one thing and half another, neither is told.
func TestHalfForEach(t *testing.T) {
	for name, at := range map[string]func(int) (float64, float64){
		"two lengths":  func(s int) (float64, float64) { return 345, 5 + 5*float64(s%2) },
		"two places":   func(s int) (float64, float64) { return 345 + 400*float64(s%2), 5 },
		"then another": func(s int) (float64, float64) { return 345 + 222*float64(s/38), 10 },
		"a tick, 20":   func(s int) (float64, float64) { return 345, 5 + 15*float64(s%2) },
	} {
		if all := Find(pulsesOf(48, 1000, 15, at)); len(all) != 0 {
			t.Errorf("%s: %+v", name, all)
		}
	}
}

// TestEdgesAreWhereTheyAre: a long pulse is proved to begin and to end within 10 ms, and no farther off.
func TestEdgesAreWhereTheyAre(t *testing.T) {
	x := pulsesOf(49, 733, 10, func(int) (float64, float64) { return 345, keyedPulse })
	for off := -60; off <= 60; off += 5 {
		from, to := edges(x, 733, 345+off, keyedPulse)
		if size := max(off, -off); size <= 5 && !(from.won() && to.won()) || size >= 20 && from.won() && to.won() {
			t.Errorf("%d ms off: begin %.1e, end %.1e", off, from.chance(), to.chance())
		}
	}
}

// TestTensNeedALongerFirst: of ten pulses a second the one twice as long begins it. Where all are alike, none does; nor where
// the first is late by its length.
func TestTensNeedALongerFirst(t *testing.T) {
	for _, row := range []struct {
		late, long, count int // ms, ms, of them a second
		on, first         bool
	}{{0, 40, 10, true, true}, {0, 20, 10, true, false}, {20, 20, 1, false, true}} {
		x := make([]float32, 75*airtest.Rate)
		for s := range 75 {
			for k := range row.count {
				long := keyedTen
				if k == 0 {
					long = row.long
				}
				from := (s*1000 + 45 + row.late + k*100) * perMS
				for i := from; i < from+long*perMS; i++ {
					x[i] = float32(5 * math.Sin(2*math.Pi*733*float64(i)/rate))
				}
			}
		}
		airtest.Noise(rand.New(rand.NewPCG(50, 1)), x)
		on, first := tens(x, 733, 45)
		if on.won() != row.on || first.won() != row.first || tenProved(x, 733, 45) != (row.on && row.first) {
			t.Errorf("%+v: on %.1e, first %.1e", row, on.chance(), first.chance())
		}
	}
}

// TestMinuteWhereASecondEnds: a second that begins less than a millisecond before or after the first sample, or the end of the
// first second, is no second early or late; of 2,500 minutes two were 1 s late so.
func TestMinuteWhereASecondEnds(t *testing.T) {
	for _, name := range []string{"WWV", "BPM", "CHU", "RWM"} {
		for _, us := range []int{-1000, -400, -100, 0, 100, 400, 1000} {
			begin := time.Date(2031, 2, 3, 4, 12, 20, us*1000, time.UTC)
			if name == "BPM" {
				begin = time.Date(2031, 2, 3, 4, 5, 19, 980e6+us*1000, time.UTC)
			}
			x := airtest.Hear(rand.New(rand.NewPCG(51, 1)), airtest.Channel{}, 75, airtest.Clock{Name: name, Begin: begin, SNRdB: 10, Hz: 700})
			all := Find(x)
			if name == "RWM" {
				s, _ := FindRWM(x)
				all = []Station{s}
			}
			if len(all) != 1 || !all[0].Minute || math.Abs(math.Remainder(all[0].MinuteS-40+float64(us)/1e6, 60)) > 0.004 {
				t.Errorf("%s, %d µs: %+v", name, us, all)
			}
		}
	}
}
