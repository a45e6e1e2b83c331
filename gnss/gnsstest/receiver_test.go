package gnsstest

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	nmea "github.com/adrianmo/go-nmea"
	"pgregory.net/rapid"

	"noonmark/clockcheck/timescale"
)

// A survey camp on a salt flat, 2031-02-03 04:05:06 UTC.
var camp = Place{LatDeg: -20.13, LonDeg: -67.49, AltM: 3656}

var start = timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 6, 0, time.UTC))

var open = Scene{Satellites: 11}

// run emits n seconds from at and returns the bursts.
func run(r *Receiver, at timescale.UTC, n int, s Scene) []Burst {
	var out []Burst
	for i := range n {
		out = append(out, r.Emit(at.Add(time.Duration(i)*time.Second), camp, s)...)
	}
	return out
}

// said is one RMC as go-nmea reads it.
type said struct {
	valid    bool
	date     string // yy-mm-dd as sent, "" = empty
	clock    string // hh:mm:ss.mmm, "" = empty
	mode     string
	lat, lon float64
	at       timescale.UTC // of the burst
}

// rmcs are all RMC of the bursts, read by go-nmea.
func rmcs(t testing.TB, bursts []Burst) []said {
	t.Helper()
	var out []said
	for _, b := range bursts {
		for line := range strings.SplitSeq(strings.TrimSuffix(string(b.Bytes), "\r\n"), "\r\n") {
			s, err := nmea.Parse(line)
			if err != nil {
				continue
			}
			m, ok := s.(nmea.RMC)
			if !ok {
				continue
			}
			x := said{valid: m.Validity == "A", mode: m.FFAMode, lat: m.Latitude, lon: m.Longitude, at: b.At}
			if m.Date.Valid {
				x.date = fmt.Sprintf("%02d-%02d-%02d", m.Date.YY, m.Date.MM, m.Date.DD)
			}
			if m.Time.Valid {
				x.clock = fmt.Sprintf("%02d:%02d:%02d.%03d", m.Time.Hour, m.Time.Minute, m.Time.Second, m.Time.Millisecond)
			}
			out = append(out, x)
		}
	}
	return out
}

func stamp(u timescale.UTC) (date, clock string) {
	return u.Time().Format("06-01-02"), u.Time().Format("15:04:05.000")
}

// last returns what the last RMC says, and fails if there is none.
func last(t testing.TB, bursts []Burst) said {
	t.Helper()
	all := rmcs(t, bursts)
	if len(all) == 0 {
		t.Fatal("no RMC")
	}
	return all[len(all)-1]
}

var all = []string{"RMC", "VTG", "GGA", "GSA", "GSV", "GLL", "GNS", "GST", "ZDA"}

// Every sentence of any model is well formed by a parser that is not ours
// (go-nmea, but for what it does not know: GST, and GGA quality 8), at most 82
// characters long (NMEA 0183), and as whole as the wire has time for.
func TestWellFormed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Model{
			Baud: rapid.SampledFrom([]int{0, 4800, 9600, 38400, 115200}).Draw(t, "baud"), RateHz: rapid.IntRange(0, 20).Draw(t, "rate"),
			Talker: rapid.SampledFrom([]string{"", "GP", "GN"}).Draw(t, "talker"), Sentences: rapid.SliceOfDistinct(rapid.SampledFrom(all), rapid.ID).Draw(t, "sentences"),
			V41: rapid.Bool().Draw(t, "4.1"), Decimals: rapid.IntRange(-1, 3).Draw(t, "decimals"), Warm: rapid.Bool().Draw(t, "warm"),
			BeforeFix: BeforeFix(rapid.IntRange(0, 4).Draw(t, "before fix")), Simulator: rapid.Bool().Draw(t, "simulator"),
			ColdFix: 3 * time.Second, Estimates: 2 * time.Second, OwnError: time.Duration(rapid.Int64Range(-1e10, 1e10).Draw(t, "own")),
			PositionSigmaM: rapid.Float64Range(0.1, 1e4).Draw(t, "sigma"), Latency: Latency{Jitter: 5e7, Ramp: time.Minute},
		}
		place := Place{rapid.Float64Range(-90, 90).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon"), rapid.Float64Range(-500, 9000).Draw(t, "alt")}
		r := New(m, rapid.Uint64().Draw(t, "seed"))
		at, free := start.Add(time.Duration(rapid.Int64Range(-40*365*86400, 60*365*86400).Draw(t, "when"))*time.Second), timescale.UTC(math.MinInt64)
		for range 12 {
			s := Scene{Satellites: rapid.SampledFrom([]int{0, 3, 4, 11, 32, 99}).Draw(t, "in view")}
			for _, b := range r.Emit(at, place, s) {
				if b.At < free || b.At < at.Add(-500*time.Millisecond) {
					t.Fatalf("burst at %v begins before the wire is free at %v", b.At, free)
				}
				free = b.At.Add(time.Duration(len(b.Bytes)) * b.PerByte)
				wellFormed(t, m, b.Bytes)
			}
			at = at.Add(time.Second)
		}
	})
}

func wellFormed(t *rapid.T, m Model, b []byte) {
	for _, line := range bytes.SplitAfter(b, []byte("\r\n")) {
		if len(line) == 0 {
			continue
		}
		text, ok := strings.CutSuffix(string(line), "\r\n")
		if !ok || len(line) > 82 {
			t.Fatalf("%d characters: %q", len(line), line)
		}
		body, sum, ok := strings.Cut(text[1:], "*")
		if text[0] != '$' || !ok || sum != nmea.Checksum(body) {
			t.Fatalf("bad frame or checksum: %q", line)
		}
		kind := text[3:6]
		if kind == "GST" {
			if n := strings.Count(text, ","); n != 8 {
				t.Fatalf("GST with %d fields: %q", n, line)
			}
			continue
		}
		if kind == "GGA" && m.Simulator && strings.Contains(text, ",8,") {
			continue
		}
		s, err := nmea.Parse(text)
		if err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		if s.DataType() != kind {
			t.Fatalf("%q read as %s", line, s.DataType())
		}
	}
}

// With a fix and no fault, what it says is the truth: time, date, place.
func TestTruth(t *testing.T) {
	r := New(Model{Warm: true, RateHz: 5, Baud: 115200, Sentences: all, PositionSigmaM: 3}, 5)
	run(r, start, 10, open)
	at := start.Add(10 * time.Second)
	got := run(r, at, 3, open)
	if len(got) != 15 {
		t.Fatalf("%d bursts of 5 Hz in 3 s", len(got))
	}
	for i, b := range got {
		epoch := at.Add(time.Duration(i) * 200 * time.Millisecond)
		date, clock := stamp(epoch)
		counts := map[string]int{}
		for line := range strings.SplitSeq(strings.TrimSuffix(string(b.Bytes), "\r\n"), "\r\n") {
			counts[line[3:6]]++
			if line[3:6] == "GST" {
				continue
			}
			s, err := nmea.Parse(line)
			if err != nil {
				t.Fatal(err)
			}
			var tm nmea.Time
			lat, lon := camp.LatDeg, camp.LonDeg
			switch s := s.(type) {
			case nmea.RMC:
				tm, lat, lon = s.Time, s.Latitude, s.Longitude
				if d := fmt.Sprintf("%02d-%02d-%02d", s.Date.YY, s.Date.MM, s.Date.DD); d != date || s.Validity != "A" {
					t.Errorf("RMC: %s, %q", d, s.Validity)
				}
			case nmea.GGA:
				tm, lat, lon = s.Time, s.Latitude, s.Longitude
				if s.FixQuality != "1" || s.NumSatellites != 11 || math.Abs(s.Altitude-camp.AltM) > 20 {
					t.Errorf("GGA: %+v", s)
				}
			case nmea.GLL:
				tm, lat, lon = s.Time, s.Latitude, s.Longitude
			case nmea.GNS:
				tm, lat, lon = s.Time, s.Latitude, s.Longitude
			case nmea.ZDA:
				tm = s.Time
				if d := fmt.Sprintf("%02d-%02d-%02d", s.Year-2000, s.Month, s.Day); d != date {
					t.Errorf("ZDA: %s", d)
				}
			case nmea.GSA:
				if s.FixType != "3" {
					t.Errorf("GSA: %+v", s)
				}
				continue
			default:
				continue
			}
			if c := fmt.Sprintf("%02d:%02d:%02d.%03d", tm.Hour, tm.Minute, tm.Second, tm.Millisecond); c != clock {
				t.Errorf("%s says %s, is %s", s.DataType(), c, clock)
			}
			if math.Abs(lat-camp.LatDeg) > 20e-5 || math.Abs(lon-camp.LonDeg) > 20e-5 {
				t.Errorf("%s: %f, %f", s.DataType(), lat, lon)
			}
		}
		wantGSV := 4 // 6 and 5 satellites, four a sentence
		if i%5 != 0 {
			wantGSV = 0
		}
		if counts["RMC"] != 1 || counts["GST"] != 1 || counts["GSV"] != wantGSV {
			t.Errorf("burst %d: %v", i, counts)
		}
		if d := b.At.Sub(epoch); d < 0 || d > time.Second {
			t.Errorf("latency %v", d)
		}
	}
}

func TestSameSeed(t *testing.T) {
	m := Typical()
	m.Sentences = all
	play := func(seed uint64) string {
		return fmt.Sprintf("%v", run(New(m, seed), start, 100, Scene{Satellites: 9, Corrupt: 0.001}))
	}
	if first, second := play(1), play(1); first != second {
		t.Error("the same seed gave two stories")
	}
	if play(1) == play(2) {
		t.Error("two seeds gave one story")
	}
}

// The wire: ten bits a character, so 480 bytes at 9600 take half a second; what
// does not fit is dropped in whole sentences, and the backlog ends.
func TestWire(t *testing.T) {
	b := run(New(Model{}, 1), start, 1, open)[0]
	if took := b.PerByte * 480; (took - 500*time.Millisecond).Abs() > time.Microsecond {
		t.Errorf("480 bytes at 9600 take %v", took)
	}
	r := New(Model{Baud: 4800, Sentences: all}, 1)
	bursts := run(r, start, 300, open)
	bytesSent, lag := 0, time.Duration(0)
	for i, b := range bursts {
		bytesSent += len(b.Bytes)
		lag = b.At.Sub(start.Add(time.Duration(i) * time.Second))
		if len(b.Bytes) > 0 && !bytes.HasSuffix(b.Bytes, []byte("\r\n")) {
			t.Fatal("half a sentence")
		}
	}
	if lag < time.Second || lag > 5*time.Second || bytesSent > 305*480 || bytesSent < 290*480 {
		t.Errorf("%d bytes in 300 s, last burst %v after its second", bytesSent, lag)
	}
}
