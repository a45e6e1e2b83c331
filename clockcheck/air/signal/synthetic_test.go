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
			if row.snr >= 10 && (name == "WWV" || name == "WWVH") && c.minute < c.second-c.n/100 {
				t.Errorf("%s at %.0f dB: %d seconds, and %d minutes", name, row.snr, c.second, c.minute)
			}
			if row.snr >= 10 && name == "CHU" && c.date < c.n/3 {
				t.Errorf("CHU at %.0f dB: %d dates in %d minutes", row.snr, c.date, c.n)
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

// TestNoOtherStation: BPM's long pulses of UT1, CHU's tones and a carrier that is keyed each second splash to the
// ticks' tones and are no station there; of BPM the second was 0.28 s wrong so. Of 260 draws of the three (moderate
// channel) 22 were another station before the length of what splashes was left open, and one is since.
func TestNoOtherStation(t *testing.T) {
	for _, seed := range []uint64{2, 174, 233} { // three of the 22
		r := rand.New(rand.NewPCG(seed, 21))
		for _, c := range []airtest.Clock{
			{Name: "BPM", Begin: time.Date(2031, 2, 3, 4, 26, 20, 345e6, time.UTC), DUT1: -0.28},
			{Name: "CHU", Begin: time.Date(2031, 2, 3, 4, 10, 20, 345e6, time.UTC), TAI: 37},
			{Name: "RWM", Begin: time.Date(2031, 2, 3, 4, 12, 20, 345e6, time.UTC), SNRdB: 10, DUT1: 0.2, Hz: []float64{812, 824, 996, 1013, 1195, 1388}[seed%6]},
		} {
			for _, s := range Find(airtest.Hear(r, airtest.Moderate, 75, c)) {
				if s.Name != c.Name {
					t.Errorf("seed %d: of %s at %v Hz %+v", seed, c.Name, c.Hz, s)
				}
			}
		}
	}
}

// TestMorseMovesNoMinute: RWM's name in Morse comes before its seconds. In sound that holds some of both, a second of
// the name may be taken for the minute's: of 400 draws of that minute these five were 8 to 25 s wrong.
func TestMorseMovesNoMinute(t *testing.T) {
	for _, seed := range []uint64{74, 143, 155, 315, 346} {
		r := rand.New(rand.NewPCG(seed, 31))
		begin := time.Date(2031, 2, 3, 4, 39, int(seed%40), 656e6, time.UTC)
		x := airtest.Hear(r, airtest.Moderate, 75, airtest.Clock{Name: "RWM", Begin: begin, SNRdB: 10, DUT1: -0.5, Hz: 400 + 1000*r.Float64()})
		if s, ok := FindRWM(x); ok {
			t.Errorf("seed %d: %+v", seed, s)
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

// TestCHUOfTwoMinutes: sound that holds the code of parts of two minutes; a few of its frames alone;
// over a new year, where frames A have no year, only what is of one minute is joined.
func TestCHUOfTwoMinutes(t *testing.T) {
	for _, row := range []struct {
		begin  time.Time
		long   float64 // s of sound
		minute string  // "" = no minute
		date   bool
	}{
		{time.Date(2031, 2, 3, 4, 5, 35, 345e6, time.UTC), 75, "04:06", true},
		{time.Date(2031, 2, 3, 4, 5, 35, 345e6, time.UTC), 30, "04:05", false},    // frames A of seconds 36 to 39
		{time.Date(2031, 2, 3, 4, 5, 38, 345e6, time.UTC), 24, "", false},         // one frame A, and too short for the long tone
		{time.Date(2031, 2, 3, 4, 5, 38, 345e6, time.UTC), 20.5, "", false},       // one frame A
		{time.Date(2031, 12, 31, 23, 59, 10, 0, time.UTC), 45, "23:59", true},     // all of one minute
		{time.Date(2031, 12, 31, 23, 59, 34, 345e6, time.UTC), 75, "", false},     // of two years
		{time.Date(2032, 12, 31, 23, 59, 50, 345e6, time.UTC), 55, "00:00", true}, // 366 days, and the next
	} {
		c := airtest.Clock{Name: "CHU", Begin: row.begin, SNRdB: 30, TAI: 37}
		all := Find(airtest.Hear(rand.New(rand.NewPCG(1, 1)), airtest.Channel{}, row.long, c))
		if len(all) != 1 || all[0].Minute != (row.minute != "") || all[0].UTC.IsZero() == row.date {
			t.Errorf("%v: %+v, want the minute %q, a date: %v", row.begin, all, row.minute, row.date)
			continue
		}
		m := row.begin.Add(time.Duration(all[0].MinuteS * 1e9))
		if all[0].Minute && (m.Round(time.Minute).Format("15:04") != row.minute || m.Sub(m.Round(time.Minute)).Abs() > 3*time.Millisecond) {
			t.Errorf("%v: a minute at %v, want %s: %+v", row.begin, m, row.minute, all[0])
		}
		if row.date && !all[0].UTC.Equal(m.Round(time.Minute)) {
			t.Errorf("%v: %v is said to be %v", row.begin, m, all[0].UTC)
		}
	}
}

// TestCHUTonesFadeApart: one tone of the code is 14 dB weaker than the other, or all comes a
// millisecond late beside the second's tone; noise is 25 dB below.
func TestCHUTonesFadeApart(t *testing.T) {
	begin := time.Date(2031, 2, 3, 4, 5, 31, 0, time.UTC)
	for _, late := range []int{0, 8} { // samples
		for _, weak := range []float64{markHz, spaceHz} {
			x := make([]complex128, 2*airtest.Rate)
			full := airtest.Clock{Name: "CHU", Begin: begin.Add(time.Second), SNRdB: 25, TAI: 37}.Signal(2)
			turn := cmplx.Rect(1, -2*math.Pi*weak/airtest.Rate)
			phase, low := complex(1, 0), complex(0, 0)
			for i := range x[late:] { // a narrow notch at the weak tone leaves a fifth of it
				phase *= turn
				low += (full[i]*phase - low) / 13
				x[i+late] = full[i] - 0.8*low/phase
			}
			b, ok := bytesNear(airtest.Noise(rand.New(rand.NewPCG(3, 1)), airtest.Channel{}.Pass(nil, x)), 0)
			if want := airtest.CHUBytes(begin.Add(time.Second), 37); !ok || b != want {
				t.Errorf("%v Hz weak, %d samples late: % x, %v; want % x", weak, late, b, ok, want)
			}
		}
	}
}

// TestWWVCode: each field of the published code (NIST Special Publication 432), bit by bit, and what is
// no date.
func TestWWVCode(t *testing.T) {
	frame := func(utc time.Time) []pulse {
		f := make([]pulse, 60)
		for s := range f {
			switch l := airtest.WWVPulse(utc.Add(time.Duration(s) * time.Second)); {
			case l == 0.2:
				f[s] = pulse0
			case l == 0.5:
				f[s] = pulse1
			case l == 0.8:
				f[s] = pulseMarker
			default:
				f[s] = pulseNone
			}
		}
		return f
	}
	for i := range 400 {
		utc := time.Date(2001+i%99, 1, 1, i%24, i*7%60, 0, 0, time.UTC).AddDate(0, 0, i%366)
		f := frame(utc)
		f[56+i%3] = pulse1 // one, two or four tenths of DUT1, which is positive
		if got, dut1, ok := wwvDate(f); !ok || !framed(f) || !got.Equal(utc) || dut1 != float64(int(1)<<(i%3))/10 {
			t.Fatalf("%v: %v, DUT1 %v, %v", utc, got, dut1, ok)
		}
	}
	begin := time.Date(2031, 2, 3, 4, 5, 0, 0, time.UTC)
	for _, bad := range [][]int{
		{4, 5, 6, 7},         // year 15
		{51, 52, 53, 54},     // year 150
		{10, 11, 12, 13},     // minute 15 of ten
		{15, 16, 17},         // minute 75
		{25, 26, 20, 21, 22}, // hour 37
		{40, 41},             // day 334 and more
		{40, 41, 35, 36, 37},
	} {
		f := frame(begin)
		for _, s := range bad {
			f[s] = pulse1
		}
		if got, _, ok := wwvDate(f); ok && got.YearDay() != 334 {
			t.Errorf("bits %v: %v", bad, got)
		}
	}
	f := frame(begin)
	f[50], f[57] = pulse0, pulse1
	if _, dut1, _ := wwvDate(f); dut1 != -0.2 {
		t.Errorf("DUT1 %v, want −0.2", dut1)
	}
	for s, p := range map[int]pulse{0: pulse0, 1: pulseMarker, 9: pulse0, 59: pulse1, 30: pulseBad} {
		f := frame(begin)
		if f[s] = p; framed(f) {
			t.Errorf("framed with %v in second %d", p, s)
		}
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
