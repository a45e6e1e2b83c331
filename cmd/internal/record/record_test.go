package record_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/leaps"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/record"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
	"noonmark/status"
)

// config is that of a station that does all there is.
func config(t testing.TB, steered bool) station.Config {
	var modes []clockcheck.Mode
	for _, name := range []string{"FT8", "FT4", "JS8-6"} {
		m, err := clockcheck.ModeNamed(name)
		if err != nil {
			t.Fatal(err)
		}
		modes = append(modes, m)
	}
	floor := timescale.UTCOf(time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC))
	cfg := station.Config{Judge: clockcheck.Config{Floor: floor, Modes: modes, RTCCompensated: true}, BuildDate: floor, LocatorLength: 10}
	if steered {
		cfg.Steer = &steer.Config{Modes: modes, Floor: floor, RTC: "rtc-some"}
	}
	return cfg
}

// story is one in which much happens: servers, a mark, a lie, a step, a sleep, an unplugged
// receiver, a pulse, a thermometer.
func story() world.Scenario {
	s, _ := world.Named("camp")
	open := gnsstest.Scene{Satellites: 11}
	s.Length, s.Pulse = 50*time.Minute, world.Pulse{Width: 100 * time.Millisecond, Jitter: time.Microsecond}
	s.Thermometer = &world.Thermometer{NoiseC: 0.3}
	s.Story = []world.Chapter{
		{Scene: open, Servers: []world.Server{{Name: "192.0.2.1", Bound: 20 * time.Millisecond, Stratum: 2, ID: [4]byte{192, 0, 2, 1}}}},
		{From: 10 * time.Minute, Scene: open, Mark: &world.Mark{Bound: 200 * time.Millisecond}},
		{From: 15 * time.Minute, Scene: gnsstest.Scene{Satellites: 11, FalseTime: 2 * time.Second}},
		{From: 20 * time.Minute, Scene: open, Step: 3 * time.Second},
		{From: 25 * time.Minute, Scene: gnsstest.Scene{Satellites: 11, Unplugged: true}},
		{From: 30 * time.Minute, Scene: open, Sleep: 5 * time.Minute},
		{From: 40 * time.Minute, Scene: gnsstest.Scene{Satellites: 1}},
	}
	return s
}

// stream is every status of a story, as it is published.
func recorded(t testing.TB, steered bool) (file, statuses []byte) {
	cfg := config(t, steered)
	var out, stream bytes.Buffer
	var w *record.Writer
	var waiting []string // what came before the first tick could be written
	cfg.Record = func(in *station.Input) {
		if w == nil {
			b, _ := json.Marshal(in)
			waiting = append(waiting, string(b))
			return
		}
		w.Put(in)
	}
	wd := world.New(story(), cfg, 5)
	head := cfg
	head.Record, head.BootID = nil, wd.BootID()
	w = record.NewWriter(&out, record.Header{Run: "r", Part: 1, Config: head, Learned: wd.Kept()})
	for _, line := range waiting {
		var in station.Input
		if err := json.Unmarshal([]byte(line), &in); err != nil {
			t.Fatal(err)
		}
		w.Put(&in)
	}
	wd.OnSnapshot(func(v *status.Snapshot) {
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&stream, "%s\n", b)
	})
	for wd.Elapsed() < story().Length {
		wd.Second()
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes(), stream.Bytes()
}

// A record judges to the very same statuses, to the byte, steered or only watched.
func TestReplayIsTheSameToTheByte(t *testing.T) {
	for _, steered := range []bool{false, true} {
		file, want := recorded(t, steered)
		got := played(t, file)
		if !bytes.Equal(got, want) {
			a, b := bytes.Split(got, []byte("\n")), bytes.Split(want, []byte("\n"))
			for i := range min(len(a), len(b)) {
				if !bytes.Equal(a[i], b[i]) {
					t.Fatalf("steered %v: status %d of %d and %d differs:\n%s\n%s", steered, i, len(a), len(b), a[i], b[i])
				}
			}
			t.Fatalf("steered %v: %d and %d statuses", steered, len(a), len(b))
		}
		t.Logf("steered %v: %d statuses, %d B of record for 50 min", steered, bytes.Count(want, []byte("\n")), len(file))
	}
}

// played is every status that a record judges to.
func played(t testing.TB, file []byte) []byte {
	r, err := record.NewReader(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	var stream bytes.Buffer
	st, err := r.Header.Station()
	if err != nil {
		t.Fatal(err)
	}
	_, damaged, err := r.Play(st, func(in *station.Input) {
		if in.Tick != nil {
			b, err := json.Marshal(st.Snapshot())
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&stream, "%s\n", b)
		}
	})
	if err != nil || damaged > 0 {
		t.Fatalf("%d damaged, %v", damaged, err)
	}
	return stream.Bytes()
}

// A file that the power cut off is good up to there.
func TestTornRecordIsGoodUpToThere(t *testing.T) {
	var out bytes.Buffer
	w := record.NewWriter(&out, record.Header{Run: "r", Part: 1, Config: config(t, false)})
	rng := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		p := make([]byte, 300)
		for i := range p {
			p[i] = byte(rng.Uint32())
		}
		w.Put(&station.Input{Bytes: &station.Bytes{P: p}})
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	last := -1
	for _, n := range []int{out.Len(), out.Len() * 3 / 4, out.Len() / 2, out.Len() / 4} {
		r, err := record.NewReader(bytes.NewReader(out.Bytes()[:n]))
		if err != nil {
			t.Fatal(err)
		}
		whole := 0
		for {
			_, err := r.Next()
			if errors.Is(err, io.EOF) {
				break
			}
			if err == nil {
				whole++
			}
		}
		if whole == 0 || last >= 0 && whole >= last || n == out.Len() && whole != 500 {
			t.Errorf("%d of %d B: %d inputs", n, out.Len(), whole)
		}
		last = whole
	}
}

// What is no record, or one of another version, is refused with what to do.
func TestRefused(t *testing.T) {
	zipped := func(text string) []byte {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		io.WriteString(z, text)
		z.Close()
		return b.Bytes()
	}
	for _, c := range []struct {
		name string
		file []byte
		want string
	}{
		{"text", []byte("$GPRMC,1\r\n"), "not a record"},
		{"nothing", nil, "not a record"},
		{"something else zipped", zipped("hello\n"), "not a record"},
		{"another version", zipped(`{"noonmark_record":2}` + "\n"), "version 2"},
		{"a line without end", zipped(`{"noonmark_record":1` + strings.Repeat(" ", 1<<17) + "}\n"), "not a record"},
	} {
		if _, err := record.NewReader(bytes.NewReader(c.file)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	r, err := record.NewReader(bytes.NewReader(zipped(`{"noonmark_record":1}` + "\n{\"tick\":3}\n{\"use\":\"FT8\"}\n")))
	if err != nil {
		t.Fatal(err)
	}
	var d *record.Damaged
	if _, err := r.Next(); !errors.As(err, &d) || d.Line != 2 {
		t.Errorf("a damaged line: %v", err)
	}
	if in, err := r.Next(); err != nil || *in.Use != "FT8" {
		t.Errorf("the line behind it: %+v, %v", in, err)
	}
}

// A record of an earlier version, which names its judge, is played: one judge is left.
func TestRecordThatNamesAJudge(t *testing.T) {
	for _, named := range []string{`,"config":{"Bank":true}`, `,"config":{"Judge":{"Without":0}}`} {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		io.WriteString(z, `{"noonmark_record":1`+named+"}\n"+`{"tick":{"Local":5,"System":7}}`+"\n")
		z.Close()
		r, err := record.NewReader(&b)
		if err != nil {
			t.Fatalf("%s: %v", named, err)
		}
		st, err := r.Header.Station()
		if err != nil {
			t.Fatalf("%s: %v", named, err)
		}
		if n, damaged, err := r.Play(st, func(*station.Input) {}); n != 1 || damaged != 0 || err != nil {
			t.Errorf("%s: %d inputs, %d damaged, %v", named, n, damaged, err)
		}
	}
}

// Whatever a file holds, reading and playing it ends, and takes no more than its lines.
func FuzzRecord(f *testing.F) {
	for _, s := range []string{`{"noonmark_record":1}` + "\n" + `{"tick":{"Local":5,"System":7}}`, `{"noonmark_record":1,"config":{"Live":true}}` + "\n" +
		`{"bytes":{"P":"JEdQUk1D","At":9}}` + "\n" + `{"opened":{"Device":"x"}}`, "{}", "",
		// leaps of time, and what follows none
		`{"noonmark_record":1,"config":{"Judge":{"Modes":[{"Name":"FT8"}]},"Steer":{"Modes":[{"Name":"FT8"}]}}}` + "\n" + `{"opened":{"Device":"x","Baud":9600,"At":5}}` + "\n" +
			`{"rtc":{"Edge":7,"Half":1,"Value":1900000000000000000}}` + "\n" + `{"tick":{"Local":9000000000000000000,"System":9,"Kernel":{}}}` + "\n" +
			`{"tick":{"Local":-9000000000000000000,"AsleepS":1e300}}` + "\n" + `{"done":{"After":3,"Error":"no","Denied":true}}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		z.Write(text)
		z.Close()
		r, err := record.NewReader(&b)
		if err != nil {
			return
		}
		st, err := r.Header.Station()
		if err != nil {
			return
		}
		n := 0
		r.Play(st, func(*station.Input) { n++ })
		if n > len(text) {
			t.Fatal("more inputs than bytes")
		}
	})
}

// The table of leap seconds is written down and read again.
func TestLeapsAreWrittenDown(t *testing.T) {
	var table leaps.Table
	if err := json.Unmarshal([]byte(`{"Updated":1,"Expires":2,"First":{"At":3,"TAI":10},"Leaps":[{"At":4,"TAI":11,"Insert":true}]}`), &table); err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(station.Config{Leaps: &table})
	var again station.Config
	if err != nil || json.Unmarshal(b, &again) != nil || fmt.Sprint(*again.Leaps) != fmt.Sprint(table) {
		t.Errorf("%s, %v", b, err)
	}
}

// What a second of an ordinary station costs: eleven reads of a receiver at 9600 baud, and
// a tick. It must stay below a thousandth of a small computer's processor.
func BenchmarkSecond(b *testing.B) {
	w := record.NewWriter(io.Discard, record.Header{Config: config(b, true)})
	text := []byte("$GNRMC,143044.00,A,2008.02723,S,06729.34554,W,0.000,,030231,,,A*7D\r\n$GNGGA,143044.00,2008.02723,S")
	k := steer.Kernel{FreqPPM: -12.4, MaxError: time.Millisecond}
	for i := range b.N {
		at := timescale.Local(i) * timescale.Local(time.Second)
		for j := range 11 {
			text[14] = byte('0' + j%10)
			w.Put(&station.Input{Bytes: &station.Bytes{P: text, Read: station.Read{At: at.Add(time.Duration(j) * 96 * time.Millisecond), Flowing: j > 0}}})
		}
		w.Put(&station.Input{Tick: &station.Tick{Local: at, System: timescale.UTC(at) + 1.9e18, BoottimeS: at.Sub(0).Seconds(), Kernel: &k}})
		if i%10 == 0 {
			if err := w.Flush(); err != nil {
				b.Fatal(err)
			}
		}
	}
}
