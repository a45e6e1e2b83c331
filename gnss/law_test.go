package gnss

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"noonmark/clockcheck/timescale"
)

// seeds are captures small enough to be cut up many times.
func seeds(tb testing.TB) map[string][]byte {
	out := make(map[string][]byte)
	for name, b := range captures(tb) {
		if len(b) < 12_000 {
			out[name] = b
		}
	}
	if len(out) < 8 {
		tb.Fatalf("only %d small captures", len(out))
	}
	return out
}

// bursts cuts a stream before each sentence of the type that leads it: the
// receiver is silent there.
func bursts(b []byte) [][]byte {
	s := string(b)
	i := strings.Index(s, "$")
	if i < 0 || len(s) < i+6 {
		return [][]byte{b}
	}
	lead := s[i : i+6]
	var out [][]byte
	for {
		j := strings.Index(s[min(1, len(s)):], lead)
		if j < 0 {
			return append(out, []byte(s))
		}
		out = append(out, []byte(s[:j+1]))
		s = s[j+1:]
	}
}

// feed plays bursts one second apart (or as long as they take) at 10000 baud, a
// millisecond a byte, with a read after each byte for which cut says so and at
// each end of a burst. With tick, the owner's Flush runs in the silences.
func feed(all [][]byte, cut func(n int) int, tick bool) ([]Epoch, Counts) {
	d := NewDecoder(Config{Baud: 10000})
	now := timescale.Local(0)
	for _, b := range all {
		began := now
		for len(b) > 0 {
			n := cut(len(b))
			now = now.Add(time.Duration(n) * time.Millisecond)
			d.Feed(b[:n], now)
			b = b[n:]
		}
		next := max(now.Add(100*time.Millisecond), began.Add(time.Second))
		for t := now; tick && t < next; t = t.Add(37 * time.Millisecond) {
			d.Flush(t)
		}
		now = next
	}
	d.Flush(now.Add(time.Second))
	return drain(d), d.Counts()
}

func whole(n int) int { return n }

// However the same bytes are cut into reads, and whether or not the owner's tick
// came between, the same epochs come out, with the same arrivals.
func TestLawCuttingChangesNothing(t *testing.T) {
	for name, b := range seeds(t) {
		t.Run(name, func(t *testing.T) {
			all := bursts(b)
			want, wantCounts := feed(all, whole, false)
			if len(want) == 0 {
				t.Fatal("no epochs")
			}
			same := func(t interface{ Fatalf(string, ...any) }, got []Epoch, c Counts) {
				if !slices.Equal(got, want) {
					t.Fatalf("got  %+v\nwant %+v", got, want)
				}
				if c.Sentences != wantCounts.Sentences || c.Lines != wantCounts.Lines || c.Valid != wantCounts.Valid {
					t.Fatalf("got %+v, want %+v", c, wantCounts)
				}
				for why, n := range wantCounts.Skipped {
					if c.Skipped[why] != n {
						t.Fatalf("%s: got %d, want %d", why, c.Skipped[why], n)
					}
				}
			}
			got, c := feed(all, func(int) int { return 1 }, true)
			same(t, got, c)
			rapid.Check(t, func(rt *rapid.T) {
				sizes := rapid.SliceOfN(rapid.IntRange(1, 200), 1, 50).Draw(rt, "reads")
				k := 0
				got, c := feed(all, func(n int) int { k++; return min(n, sizes[k%len(sizes)]) }, rapid.Bool().Draw(rt, "tick"))
				same(rt, got, c)
			})
		})
	}
}

// Noise between and inside sentences never makes an epoch that the clean stream
// has not: what was hit is missing, nothing is invented. Eight bits of checksum
// let one hit in 256 pass, so that the noise here always breaks the framing: a
// byte above 0x7e.
func TestLawNoiseInventsNothing(t *testing.T) {
	b := captures(t)["tizen-replay/nmea_replay.log"]
	clean := map[time.Duration]Epoch{}
	es, _ := decode(Config{}, string(b))
	for _, e := range es {
		clean[e.TimeOfDay] = e
	}
	rapid.Check(t, func(rt *rapid.T) {
		hit := slices.Clone(b)
		for _, i := range rapid.SliceOfN(rapid.IntRange(0, len(b)-1), 1, 60).Draw(rt, "hits") {
			hit[i] |= 0x80
		}
		es, _ := decode(Config{}, string(hit))
		for _, e := range es {
			c, ok := clean[e.TimeOfDay]
			if e.HasTime && (!ok || e.DateOK && (e.Year != c.Year || e.Month != c.Month || e.Day != c.Day) ||
				e.HasPosition && (e.Lat-c.Lat > 10_000 || c.Lat-e.Lat > 10_000)) {
				rt.Fatalf("invented %+v", e)
			}
		}
	})
}

// plausible checks what holds for every epoch whatever was fed.
func plausible(t interface{ Fatalf(string, ...any) }, e Epoch) {
	ok := e.TimeOfDay >= 0 && e.TimeOfDay < 24*time.Hour && (e.HasTime || e.TimeOfDay == 0) &&
		(!e.LeapSecond || e.TimeOfDay >= 24*time.Hour-time.Second) &&
		(!e.DateOK || e.Month >= 1 && e.Month <= 12 && e.Day >= 1 && e.Day <= 31 && (e.YearDigits == 2 || e.YearDigits == 4)) &&
		e.Lat.Deg() >= -90 && e.Lat.Deg() <= 90 && e.Lon.Deg() >= -180 && e.Lon.Deg() <= 180 &&
		e.Quality >= -1 && e.Quality <= 9 && e.Satellites >= -1 &&
		(e.Status == 0 || e.Status == 'A' || e.Status == 'V') &&
		!(e.Valid && (e.Simulated || e.Status == 'V' || !e.HasTime)) &&
		e.HDOP >= 0 && e.PDOP >= 0 && e.Bytes >= 0 && e.Arrival <= e.TimeArrival && e.Types != 0
	if !ok {
		t.Fatalf("impossible epoch %+v", e)
	}
	if u, has := e.UTC(); has {
		at := u.Time()
		if e.LeapSecond {
			at = at.Add(-time.Second)
		}
		if e.OldDate {
			at = at.AddDate(0, 0, -1)
		}
		if at.Year() != int(e.Year) || at.Month() != time.Month(e.Month) || at.Day() != int(e.Day) {
			t.Fatalf("%v is not the date of %+v", at, e)
		}
	}
}

// FuzzDecoder feeds arbitrary bytes in two reads. Seeds: every small capture, and
// the sentences of the tests of traps.
func FuzzDecoder(f *testing.F) {
	for _, b := range seeds(f) {
		f.Add(b, uint16(len(b)/2), uint16(9600))
	}
	for _, s := range []string{exampleRMC, exampleGGA, exampleZDA, leapRMC + leapGGA, sum("$GNTXT,01"), sum("$GPALC"),
		sum("$GNGNS,010203,,,,,AN,04,1.0,,,,,V"), sum("$GNGST,010203,,,,,,,"), sum("$GBGSV,1,1,01,19,56,074,38,B"), "\xb5\x62" + exampleRMC} {
		f.Add([]byte(s), uint16(3), uint16(0))
	}
	f.Fuzz(func(t *testing.T, b []byte, cut, baud uint16) {
		n := min(int(cut), len(b))
		d := NewDecoder(Config{Baud: int(baud)})
		d.Feed(b[:n], t0)
		d.Flush(t0.Add(10 * time.Millisecond))
		d.Feed(b[n:], t0.Add(40*time.Millisecond))
		d.Flush(t0.Add(time.Second))
		c := d.Counts()
		if c.Bytes != uint64(len(b)) || c.Skipped["parser fault"] != 0 {
			t.Fatalf("counts %+v of %d bytes", c, len(b))
		}
		for _, e := range drain(d) {
			plausible(t, e)
		}
		for _, s := range d.Satellites(nil) {
			if s.ID < 0 || s.CN0 < -99 || s.Azimuth > 360 {
				t.Fatalf("impossible satellite %+v", s)
			}
		}
	})
}

// Only the text of a sentence that is looked into is allocated; the rest, and
// Next, allocate nothing.
func TestAllocations(t *testing.T) {
	in := []byte(sum("$GNRMC,010203.00,A,2007.8000,S,06729.4000,W,0.1,,040526,,,A,V") +
		strings.Repeat(sum("$GPGSV,1,1,01,01,10,100,40,1"), 8) + sum("$GNVTG,,T,,M,0.1,N,0.2,K,A"))
	d := NewDecoder(Config{})
	at := t0
	got := testing.AllocsPerRun(100, func() {
		d.Feed(in, at)
		d.Flush(at.Add(time.Second))
		d.Next()
		d.Next()
		at = at.Add(2 * time.Second)
	})
	if got > 1 {
		t.Errorf("%v allocations for one RMC, eight GSV and one VTG; want 1", got)
	}
}
