package signal

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"noonmark/clockcheck/air/airtest"
)

// hear is 75 s of a station from a random instant, and where its seconds begin.
func hear(r *rand.Rand, name string, snr float64, ch airtest.Channel) (samples []float32, c airtest.Clock) {
	begin := time.Date(2031, 2, 3, 0, 0, 0, 0, time.UTC).Add(time.Duration(r.Int64N(int64(300 * 24 * time.Hour))))
	c = airtest.Clock{Name: name, Begin: begin, SNRdB: snr, TAI: 37, DUT1: math.Round(80*(r.Float64()-0.5)) / 50, Hz: 400 + 1000*r.Float64()}
	return airtest.Hear(r, ch, 75, c), c
}

// tally is what came of some minutes of a station.
type tally struct {
	n, second, minute, date, wrong int
	sum                            float64
}

func (c *tally) take(t *testing.T, samples []float32, clock airtest.Clock) {
	c.n++
	all := Find(samples)
	if clock.Name == "RWM" {
		if s, ok := FindRWM(samples); ok {
			all = append(all, s)
		}
	}
	for _, s := range all {
		if s.Name != clock.Name {
			c.wrong++
			t.Logf("another station: %+v of %+v", s, clock)
			continue
		}
		off := s.SecondS
		if s.Name == "BPM" {
			off += 0.020
		}
		at := clock.Begin.Add(time.Duration(off * 1e9))
		d := math.Remainder(float64(at.Nanosecond())/1e9, 1)
		c.second++
		c.sum += d * d
		bad := math.Abs(d) > 0.1
		if s.Minute {
			c.minute++
			m := clock.Begin.Add(time.Duration((s.MinuteS + off - s.SecondS) * 1e9))
			bad = bad || m.Sub(m.Round(time.Minute)).Abs() > 100*time.Millisecond
			if !s.UTC.IsZero() {
				c.date++
				bad = bad || !s.UTC.Equal(m.Round(time.Minute))
			}
		}
		if bad {
			c.wrong++
			t.Logf("wrong: %+v of %+v", s, clock)
		}
	}
}

func (c tally) rms() float64 { return math.Sqrt(c.sum / math.Max(float64(c.second), 1)) }

// TestStations: each station, the moderate channel of ITU-R F.1487, strengths in 2.5 kHz:
// the second within 5 ms RMS at 10 dB and 15 ms at 0 dB, no wrong second, minute or date.
// 1,000 minutes each with NOONMARK_TEST_LONG.
func TestStations(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	minutes := 2
	if v := os.Getenv("NOONMARK_TEST_LONG"); v != "" {
		if minutes, _ = strconv.Atoi(v); minutes < 3 {
			minutes = 1000
		}
	}
	r := rand.New(rand.NewPCG(5, 6))
	for _, name := range []string{"WWV", "WWVH", "CHU", "BPM", "RWM"} {
		for _, row := range []struct{ snr, most float64 }{{20, 0.005}, {10, 0.005}, {5, 0.015}, {0, 0.015}, {-5, 0.05}} {
			if minutes == 2 && row.snr != 10 && row.snr != 0 {
				continue
			}
			n := minutes
			if n > 2 && row.snr != 10 && row.snr != 0 {
				n /= 10
			}
			var c tally
			for range n {
				x, clock := hear(r, name, row.snr, airtest.Moderate)
				c.take(t, x, clock)
			}
			t.Logf("%-4s %+3.0f dB: of %d minutes %d seconds, %d minutes, %d dates; %.1f ms RMS; %d wrong", name, row.snr, c.n, c.second, c.minute, c.date, 1e3*c.rms(), c.wrong)
			if row.snr >= 10 && (name == "WWV" || name == "WWVH") && c.minute != c.second {
				t.Errorf("%s at %.0f dB: %d seconds, and %d minutes", name, row.snr, c.second, c.minute)
			}
			least := c.n / 2
			if name == "RWM" { // it sends seconds in two minutes of three
				least = c.n / 4
			}
			if c.wrong > 0 || c.rms() > row.most || row.snr >= 10 && c.second < least {
				t.Errorf("%s at %.0f dB: %+v, %.1f ms RMS, want %.1f", name, row.snr, c, 1e3*c.rms(), 1e3*row.most)
			}
		}
	}
}

// TestOneMinuteOnly: the long tone begins the minute; where two seconds of it are as loud, no minute is told.
func TestOneMinuteOnly(t *testing.T) {
	begin := time.Date(2031, 2, 3, 4, 5, 40, 345e6, time.UTC)
	for _, other := range []float64{0, 33.655, 13.655} { // s: another long tone begins; 0 = none
		x := airtest.Clock{Name: "WWV", Begin: begin, SNRdB: 20}.Signal(75)
		for i := int(other * airtest.Rate); other > 0 && i < int((other+0.8)*airtest.Rate); i++ {
			x[i] += cmplx.Rect(airtest.Amplitude(20), 2*math.Pi*1000*float64(i)/airtest.Rate)
		}
		all := Find(airtest.Noise(rand.New(rand.NewPCG(3, 3)), airtest.Channel{}.Pass(nil, x)))
		if len(all) != 1 || !all[0].Second || all[0].Minute != (other == 0) || other == 0 && math.Abs(all[0].MinuteS-19.655) > 0.003 {
			t.Errorf("another long tone at %.3f s: %+v", other, all)
		}
	}
}

// TestEdgeOfAnotherTone: a carrier that is keyed by the second clicks in the tones of the stations, and
// is none of them. Drawn were 216 minutes, of which these three were WWVH, WWV and WWV.
func TestEdgeOfAnotherTone(t *testing.T) {
	begin := time.Date(2031, 2, 3, 4, 10, 20, 345e6, time.UTC)
	for seed, hz := range map[uint64]float64{163: 590, 205: 610, 216: 620} {
		r := rand.New(rand.NewPCG(seed, 15))
		x := airtest.Hear(r, airtest.Moderate, 75, airtest.Clock{Name: "RWM", Begin: begin, SNRdB: 10, Hz: hz, DUT1: -0.36})
		if all := Find(x); len(all) != 0 {
			t.Errorf("a beat of %v Hz: %+v", hz, all)
		}
	}
}

// TestRWM: one pulse a second and ten a second, with the minute; and nothing of the parts without
// seconds, nor of RWM where it is not named.
func TestRWM(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for _, row := range []struct {
		minute int
		found  bool
	}{{1, false}, {8, false}, {12, true}, {23, true}} {
		begin := time.Date(2031, 2, 3, 4, row.minute, 20, 345e6, time.UTC)
		x := airtest.Hear(r, airtest.Channel{}, 75, airtest.Clock{Name: "RWM", Begin: begin, SNRdB: 10, DUT1: 0.36, Hz: 733})
		s, ok := FindRWM(x)
		if ok != row.found {
			t.Errorf("minute %d: %v, %+v", row.minute, ok, s)
		}
		if row.found && (math.Abs(s.SecondS-0.655) > 0.003 || math.Abs(s.MinuteS-39.655) > 0.003) {
			t.Errorf("minute %d: %+v, want the second at 0.655 s, the minute at 39.655 s", row.minute, s)
		}
		if all := Find(x); len(all) != 0 {
			t.Errorf("minute %d, not named: %+v", row.minute, all)
		}
	}
}

// TestTwoOnOneFrequency: WWV and WWVH together, 15 ms apart.
func TestTwoOnOneFrequency(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	begin := time.Date(2031, 2, 3, 4, 5, 20, 0, time.UTC)
	x := airtest.Hear(r, airtest.Channel{}, 75, airtest.Clock{Name: "WWV", Begin: begin, SNRdB: 15},
		airtest.Clock{Name: "WWVH", Begin: begin.Add(-15 * time.Millisecond), SNRdB: 12})
	all := Find(x)
	if len(all) != 2 || all[0].Name != "WWV" || all[1].Name != "WWVH" {
		t.Fatalf("%+v", all)
	}
	if d := math.Remainder(all[1].SecondS-all[0].SecondS, 1); math.Abs(d-0.015) > 0.003 {
		t.Errorf("%.1f ms apart, want 15: %+v", 1e3*d, all)
	}
}

// TestCHUCode: the bytes of the published description, bit by bit, without noise.
func TestCHUCode(t *testing.T) {
	begin := time.Date(2031, 2, 3, 4, 5, 10, 0, time.UTC) // day 34
	a := airtest.CHUBytes(begin.Add(25*time.Second), 37)
	if a != [10]byte{0x60, 0x34, 0x04, 0x05, 0x35, 0x60, 0x34, 0x04, 0x05, 0x35} {
		t.Fatalf("% x", a)
	}
	c := airtest.Clock{Name: "CHU", Begin: begin, SNRdB: 30, TAI: 37}
	all := Find(airtest.Hear(rand.New(rand.NewPCG(1, 1)), airtest.Channel{}, 75, c))
	if len(all) != 1 || all[0].Name != "CHU" || all[0].TAI != 37 || !all[0].UTC.Equal(begin.Truncate(time.Minute)) || math.Abs(all[0].MinuteS+10) > 0.003 {
		t.Errorf("%+v", all)
	}
}

// TestNothingThere: noise, voices, music, carriers and a band of FT8-like tones are no station.
func TestNothingThere(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	r := rand.New(rand.NewPCG(9, 9))
	n := 10
	if os.Getenv("NOONMARK_TEST_LONG") != "" {
		n = 500
	}
	for i := range n {
		x := make([]float32, 60*airtest.Rate)
		switch i % 5 {
		case 1:
			airtest.Voice(r, x, 15)
		case 2:
			airtest.Carriers(r, x, 6, 10)
		case 3:
			airtest.Music(r, x, 15)
		case 4:
			airtest.Clicks(r, x, 5, 10)
		}
		if got := Find(airtest.Noise(r, x)); len(got) != 0 {
			t.Errorf("period %d: %+v", i, got)
		}
	}
}
