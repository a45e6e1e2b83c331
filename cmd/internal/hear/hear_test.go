package hear

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"

	"noonmark/clockcheck/air/airtest"
	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/sound"
	"noonmark/cmd/internal/cli"
)

const air = "../../../testdata/air/"

// run plays the command and returns its code and what it printed.
func run(t *testing.T, c cli.Hear) (int, string) {
	t.Helper()
	if c.Mode == "" {
		c.Mode = "FT8"
	}
	if c.Channel == 0 {
		c.Channel = 1
	}
	var out bytes.Buffer
	code, err := Hear(context.Background(), c, strings.NewReader(""), &out, &out)
	if err != nil {
		t.Fatal(err)
	}
	return code, out.String()
}

// TestFiles: one object a file, in order; the crowd is that of testdata/air/heard.csv.
func TestFiles(t *testing.T) {
	var c cli.Hear
	c.JSON, c.Words = true, []string{air + "busy_03.wav", air + "field-110115.wav"}
	code, text := run(t, c)
	var f [2]found
	d := json.NewDecoder(strings.NewReader(text))
	for i := range f {
		if err := d.Decode(&f[i]); err != nil {
			t.Fatal(err)
		}
	}
	if code != 0 || f[0].Crowd == nil || math.Abs(f[0].Crowd.OffsetS-0.8) > 0.05 || f[0].Path != c.Words[0] || f[0].Mode != "FT8" || len(f[0].Signals) < 17 {
		t.Errorf("%d, %+v", code, f[0])
	}
	if f[1].Crowd != nil || f[1].Because == "" || f[1].Path != c.Words[1] {
		t.Errorf("one listed station: %+v", f[1])
	}
	if !strings.Contains(text, `"crowd":null,"station":null`) {
		t.Error("null is not null: ", text)
	}
}

// TestBadSound: each gets its word and no claim.
func TestBadSound(t *testing.T) {
	good, err := os.ReadFile(air + "busy_03.wav")
	if err != nil {
		t.Fatal(err)
	}
	patched := func(rate byte) []byte { // 12000 = 0x2EE0; 0x3E80 = 16000
		b := bytes.Clone(good)
		b[25] = rate
		if rate == 0x3E {
			b[24] = 0x80
		}
		return b
	}
	silent := append(bytes.Clone(good[:44]), make([]byte, len(good)-44)...)
	dir := t.TempDir()
	for _, tt := range []struct {
		name string
		file []byte
		word string
	}{
		{"half", good[:20000], "Half a file"},
		{"silence", silent, "silence"},
		{"rate", patched(0x3E), "as if it were 12000 Hz, not 16000"},
	} {
		path := filepath.Join(dir, tt.name+".wav")
		if err := os.WriteFile(path, tt.file, 0o600); err != nil {
			t.Fatal(err)
		}
		var c cli.Hear
		c.JSON, c.Words = true, []string{path}
		code, text := run(t, c)
		if code != 1 || !strings.Contains(text, tt.word) || !strings.Contains(text, `"crowd":null`) {
			t.Errorf("%s: %d, %s", tt.name, code, text)
		}
	}
}

// TestOtherSound: voice, music, clicks and carriers are named, and no claim is made of them.
func TestOtherSound(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	m, err := band.ModeNamed("FT8")
	if err != nil {
		t.Fatal(err)
	}
	for word, add := range map[string]func(*rand.Rand, []float32){
		"a voice": func(r *rand.Rand, x []float32) { airtest.Voice(r, x, 15) }, "music": func(r *rand.Rand, x []float32) { airtest.Music(r, x, 15) },
		"Clicks": func(r *rand.Rand, x []float32) { airtest.Clicks(r, x, 5, 15) }, "a carrier": func(r *rand.Rand, x []float32) { airtest.Carriers(r, x, 1, 15) },
	} {
		r := rand.New(rand.NewPCG(1, 2))
		x := make([]float32, 15*airtest.Rate)
		add(r, x)
		f := examine(sound.Piece{Rate: airtest.Rate, Samples: airtest.Noise(r, x)}, m)
		if f.Crowd != nil || f.Station != nil || !strings.Contains(f.Because, word) {
			t.Errorf("%s: %+v", word, f)
		}
	}
}

// BenchmarkExamine: 15 s of a busy band; 0.5 s and 40 MB at most are asked for. "transforms" is what it costs in parts of
// the bare transforms of its spectrum, made in the same run, so that it can be compared on a busy machine too.
func BenchmarkExamine(b *testing.B) {
	file, err := os.ReadFile(air + "busy_05.wav")
	if err != nil {
		b.Fatal(err)
	}
	p, err := sound.WAV(file, 0)
	if err != nil {
		b.Fatal(err)
	}
	m, err := band.ModeNamed("FT8")
	if err != nil {
		b.Fatal(err)
	}
	fft := fourier.NewFFT(2 * m.Symbol)
	in, out := make([]float64, 2*m.Symbol), make([]complex128, m.Symbol+1)
	var examined, bare time.Duration
	b.ReportAllocs()
	for b.Loop() {
		begin := time.Now()
		examine(p, m)
		between := time.Now()
		for range (15*sound.Rate - m.Symbol) / (m.Symbol / 8) {
			fft.Coefficients(out, in)
		}
		examined, bare = examined+between.Sub(begin), bare+time.Since(between)
	}
	b.ReportMetric(examined.Seconds()/bare.Seconds(), "transforms")
	b.ReportMetric(examined.Seconds()/float64(b.N), "s/period")
}

// TestWWV: the real minute, through the command (testdata/air: 2025-02-27 00:08, from 42.9 ms).
func TestWWV(t *testing.T) {
	var c cli.Hear
	c.JSON, c.Words = true, []string{air + "wwv-20250227T0008.wav"}
	code, text := run(t, c)
	var f found
	if err := json.Unmarshal([]byte(text), &f); err != nil {
		t.Fatal(err)
	}
	if code != 0 || f.Station == nil || f.Station.Name != "WWV" || math.Abs(f.Station.OffsetS-0.0429) > 0.003 || !strings.Contains(text, `"utc":"2025-02-27T00:08:00Z"`) || f.Crowd != nil {
		t.Errorf("%d, %s", code, text)
	}
}

// TestRWMIsNamed: a keyed tone is RWM where the operator says so, and nothing where he does not.
func TestRWMIsNamed(t *testing.T) {
	begin := time.Date(2031, 2, 3, 4, 12, 20, 345e6, time.UTC)
	x := airtest.Hear(rand.New(rand.NewPCG(1, 1)), airtest.Channel{}, 75, airtest.Clock{Name: "RWM", Begin: begin, SNRdB: 10, Hz: 733})
	p := sound.Piece{Rate: airtest.Rate, Samples: x}
	m, err := band.ModeNamed("FT8")
	if err != nil {
		t.Fatal(err)
	}
	if f := examineSpan(p, m, span{}); f.Station != nil {
		t.Errorf("not named: %+v", f.Station)
	}
	f := examineSpan(p, m, span{station: "rwm"})
	if f.Station == nil || f.Station.Tells != "minute" || math.Abs(f.Station.OffsetS-39.655) > 0.003 {
		t.Errorf("named: %+v", f.Station)
	}
	if word := unheard("RWM"); !strings.Contains(word, "minutes 10 to 29") {
		t.Error(word)
	}
}
