package hear

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"noonmark/clockcheck/air/airtest"
	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/air/sound"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/control"
	"noonmark/status"
)

// studio is a simulated sound device and its computer: blocks arrive on time, a little
// late each, and the system clock is off by err.
type studio struct {
	local  atomic.Int64 // when the newest block came; the reader writes it, the examiner asks
	start  timescale.Local
	blocks int
	lasts  time.Duration // a block; 0 = what it should
	hole   time.Duration
	holeAt int
	utc    timescale.UTC // at start
	err    time.Duration
	asked  []control.Air
}

func (s *studio) now() timescale.Local {
	s.blocks++
	if s.blocks == s.holeAt {
		s.start = s.start.Add(s.hole)
	}
	late := 15*time.Millisecond + time.Duration(s.blocks*7919%11)*time.Millisecond
	lasts := s.lasts
	if lasts == 0 {
		lasts = blockLasts
	}
	at := s.start.Add(time.Duration(s.blocks)*lasts + late)
	s.local.Store(int64(at))
	return at
}

func (s *studio) sample() pair {
	at := timescale.Local(s.local.Load())
	return pair{Local: at, System: s.utc.Add(at.Sub(timescale.Local(1e12)) + s.err)}
}

func (s *studio) tell(r control.Request) (control.Answer, error) {
	s.asked = append(s.asked, *r.Air)
	return control.Answer{Air: &control.Marked{Placed: true, Says: &status.Reference{Trust: "trusted", Because: "Agrees."}, Modes: map[string]string{"FT8": "borderline"}}}, nil
}

// raw is the recordings one after the other, as a device would send them.
func raw(t *testing.T, names ...string) []byte {
	t.Helper()
	var out []byte
	for _, n := range names {
		b, err := os.ReadFile(air + n)
		if err != nil {
			t.Fatal(err)
		}
		p, err := sound.WAV(b, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range p.Samples {
			out = binary.LittleEndian.AppendUint16(out, uint16(int16(v*32768)))
		}
	}
	return out
}

func listen(t *testing.T, s *studio, in io.Reader, c cli.Hear) (int, string) {
	t.Helper()
	m, err := band.ModeNamed("FT8")
	if err != nil {
		t.Fatal(err)
	}
	return listenFor(t, s, m, in, c)
}

func listenFor(t *testing.T, s *studio, m band.Mode, in io.Reader, c cli.Hear) (int, string) {
	t.Helper()
	var out bytes.Buffer
	h := &hearer{out: &out, sample: s.sample, now: s.now, tell: s.tell}
	if c.Rate == 0 {
		c.Rate = 12000
	}
	c.Channel, c.Channels = 1, 1
	code, err := h.live(context.Background(), c, m, in)
	if err != nil {
		t.Fatal(err)
	}
	return code, out.String()
}

func newStudio(err time.Duration) *studio {
	return &studio{start: 1e12, utc: timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 0, 0, time.UTC)), err: err}
}

// TestLive: recordings whose crowd is 0.84 s late (heard.csv) come in while the system clock
// is off; what is told holds that, and a hole in the sound does not break it.
func TestLive(t *testing.T) {
	for _, err := range []time.Duration{0, -700 * time.Millisecond, 5300 * time.Millisecond} {
		s := newStudio(err)
		code, text := listen(t, s, bytes.NewReader(raw(t, "busy_05.wav", "busy_13.wav", "busy_05.wav")), cli.Hear{})
		if code != 0 || len(s.asked) == 0 {
			t.Fatalf("%v: %d, %s", err, code, text)
		}
		a := s.asked[0]
		// UTC as told, at its instant, against the truth plus what the recordings are late.
		truth := s.utc.Add(a.LocalNS.Sub(timescale.Local(1e12)))
		off := math.Remainder(a.UTC.Sub(truth).Seconds()+0.84-crowd.Delay, 15)
		if math.Abs(off) > a.BoundS || math.Abs(off) > 0.06 || a.ModuloS != 15 || a.Source != "crowd" || a.Signals < 20 {
			t.Errorf("%v: off by %.3f s: %+v", err, off, a)
		}
	}
}

// TestHole: samples lost in the middle begin a new piece; no claim spans them.
func TestHole(t *testing.T) {
	s := newStudio(0)
	s.hole, s.holeAt = 400*time.Millisecond, 200
	code, text := listen(t, s, bytes.NewReader(raw(t, "busy_05.wav", "busy_13.wav", "busy_05.wav")), cli.Hear{})
	if code == 0 || len(s.asked) != 0 || !strings.Contains(text, "Samples were lost") {
		t.Errorf("%d, %+v, %s", code, s.asked, text)
	}
}

// TestByHand: the sign, by numbers.
func TestByHand(t *testing.T) {
	var out bytes.Buffer
	s := newStudio(0)
	h := &hearer{out: &out, sample: s.sample, now: s.now, tell: s.tell}
	m, err := band.ModeNamed("FT8")
	if err != nil {
		t.Fatal(err)
	}
	c := cli.Hear{Words: []string{"0.8", "0.9", "0.7", "0.8", "1.0"}}
	c.JSON = true
	if code, err := h.byHand(c, m); err != nil || code != 0 {
		t.Fatal(code, err)
	}
	var got told
	if err := json.Unmarshal(out.Bytes(), &got); err != nil || math.Abs(got.ErrorS-0.78) > 0.1 || !got.Told || got.BoundS < 0.2 {
		t.Errorf("%v, %+v", err, got)
	}
	if a := s.asked[0]; math.Abs(s.sample().System.Sub(a.UTC).Seconds()-got.ErrorS) > 1e-3 {
		t.Errorf("told %+v: a clock that is fast shows more than UTC", a)
	}
	for _, bad := range [][]string{{"0.8", "0.9"}, {"0.8", "x", "1", "1", "1"}, {"7.9", "0", "0", "0", "0"}, {"-7", "-3", "0", "3", "7"}} {
		if _, err := h.byHand(cli.Hear{Words: bad}, m); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
}

// TestByHandAfterAStep: what was read off before a step is of another clock.
func TestByHandAfterAStep(t *testing.T) {
	m, err := band.ModeNamed("FT8")
	if err != nil {
		t.Fatal(err)
	}
	for ago, told := range map[time.Duration]int{20 * time.Second: 0, crowd.ReadWithin: 1} {
		s := newStudio(0)
		h := &hearer{out: io.Discard, sample: s.sample, now: s.now, tell: s.tell, stepped: func() (time.Duration, bool) { return ago, true }}
		_, err := h.byHand(cli.Hear{Words: []string{"0.8", "0.9", "0.7", "0.8", "1.0"}}, m)
		if len(s.asked) != told || (err == nil) != (told == 1) || err != nil && !strings.Contains(err.Error(), "Wait 160 s") {
			t.Errorf("%v after a step: %d told, %v", ago, len(s.asked), err)
		}
	}
}

func FuzzRaw(f *testing.F) {
	f.Add([]byte{1, 2, 3}, 2)
	f.Fuzz(func(t *testing.T, b []byte, channels int) {
		if s, err := sound.Raw(b, channels, 0); err == nil && len(s) > len(b) {
			t.Error("more samples than bytes")
		}
	})
}

// TestLiveStation: a simulated WWV is heard; its date is believed when a second reading bears it out.
func TestLiveStation(t *testing.T) {
	s := newStudio(400 * time.Millisecond)
	begin := s.utc.Time()
	var in []byte
	for _, v := range airtest.Hear(rand.New(rand.NewPCG(1, 1)), airtest.Channel{}, 260, airtest.Clock{Name: "WWV", Begin: begin, SNRdB: 25}) {
		in = binary.LittleEndian.AppendUint16(in, uint16(int16(v*32767)))
	}
	c := cli.Hear{Station: "WWV", Place: "FG69"}
	c.Rate = 8000
	code, text := listen(t, s, bytes.NewReader(in), c)
	if code != 0 || len(s.asked) < 3 {
		t.Fatalf("%d, %d told, %s", code, len(s.asked), text)
	}
	for i, a := range s.asked {
		truth := s.utc.Add(a.LocalNS.Sub(timescale.Local(1e12)))
		off := a.UTC.Sub(truth).Seconds() // the way and the radio's delay are taken off, and were not there
		if a.ModuloS > 0 {
			off = math.Remainder(off, a.ModuloS)
		}
		if math.Abs(off) > a.BoundS || off < 0 || off > 0.12 || a.Source != "WWV" || (a.ModuloS == 0) != (i > 0) {
			t.Errorf("told %d: off by %.3f s: %+v", i, off, a)
		}
	}
}

// Stations send in every second period: once it is trusted the ear hears both halves of the band by turns.
func TestBothHalvesOfTheBandAreHeard(t *testing.T) {
	heard := [2]bool{}
	for k := range 4 {
		heard[k*calmEvery%2] = true
	}
	if !heard[0] || !heard[1] {
		t.Errorf("one period in %d is always of the same half", calmEvery)
	}
}
