package signal

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"noonmark/clockcheck/air/airtest"
)

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
