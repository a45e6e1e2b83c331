package sound

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// wav builds a file by the format's description: RIFF, "fmt ", "data".
func wav(rate, channels int, samples []int16) []byte {
	le := binary.LittleEndian
	b := append([]byte("RIFF\x00\x00\x00\x00WAVE"), "LIST\x03\x00\x00\x00abc\x00"...)
	b = append(b, "fmt \x10\x00\x00\x00\x01\x00"...)
	b = le.AppendUint16(b, uint16(channels))
	b = le.AppendUint32(b, uint32(rate))
	b = le.AppendUint32(b, uint32(rate*2*channels))
	b = le.AppendUint16(b, uint16(2*channels))
	b = le.AppendUint16(b, 16)
	b = append(b, "data"...)
	b = le.AppendUint32(b, uint32(2*len(samples)))
	for _, s := range samples {
		b = le.AppendUint16(b, uint16(s))
	}
	return b
}

func TestWAV(t *testing.T) {
	good := wav(12000, 2, []int16{1, -2, 3, -4})
	p, err := WAV(good, 1)
	if err != nil || p.Rate != 12000 || len(p.Samples) != 2 || p.Samples[1] != -4.0/32768 {
		t.Errorf("%+v, %v", p, err)
	}
	p, err = WAV(good[:len(good)-3], 0)
	if !errors.Is(err, ErrShort) || len(p.Samples) != 1 {
		t.Errorf("half a file: %+v, %v", p, err)
	}
	for name, b := range map[string][]byte{
		"nothing": nil, "no WAV": []byte("RIFFxxxxAVI LIST"), "too fast": wav(96000, 1, []int16{1}), "too slow": wav(4000, 1, nil),
		"no sound": good[:40], "samples before their form": append(bytes.Clone(good[:12]), good[len(good)-16:]...), "three channels": wav(8000, 3, []int16{1, 2, 3}),
	} {
		if _, err := WAV(b, 0); err == nil || !strings.HasPrefix(err.Error(), "sound: ") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := WAV(wav(8000, 1, []int16{1}), 1); err == nil {
		t.Error("the second channel of one was read")
	}
}

// TestWAVExtensible: the format's longer form names PCM in its first two bytes after the channels' mask.
// Source: Multiple Channel Audio Data and WAVE Files (2001), WAVEFORMATEXTENSIBLE.
func TestWAVExtensible(t *testing.T) {
	b := wav(48000, 1, []int16{7, -7})
	at := bytes.Index(b, []byte("fmt "))
	long := append([]byte{}, b[at+8:at+24]...)
	long[0], long[1] = 0xFE, 0xFF
	long = append(long, 22, 0, 16, 0, 4, 0, 0, 0, 1, 0, 0, 0, 0, 0, 16, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71)
	file := append(append(append(b[:at:at], "fmt \x28\x00\x00\x00"...), long...), b[at+24:]...)
	if p, err := WAV(file, 0); err != nil || p.Rate != 48000 || len(p.Samples) != 2 || p.Samples[0] != 7.0/32768 {
		t.Errorf("%+v, %v", p, err)
	}
	file[at+8+24] = 3 // floating point
	if _, err := WAV(file, 0); err == nil || !strings.Contains(err.Error(), "16-bit PCM") {
		t.Errorf("floating point: %v", err)
	}
}

// TestWeighted: four sums beside each other are one sum.
func TestWeighted(t *testing.T) {
	h, x := []float32{1, 2, 3, 4, 5, 6, 7, 8, 9}, []float32{9, 7, 5, 3, 1, 2, 4, 6, 8}
	want := float32(0)
	for n := range len(h) + 1 {
		if got := weighted(h[:n], x[:n]); got != want {
			t.Errorf("%d: %v, want %v", n, got, want)
		}
		if n < len(h) {
			want += h[n] * x[n]
		}
	}
}

func FuzzWAV(f *testing.F) {
	f.Add(wav(12000, 2, []int16{1, -2, 3, -4}), 1)
	f.Fuzz(func(t *testing.T, b []byte, channel int) {
		p, err := WAV(b, channel)
		if err == nil && (p.Rate < minRate || p.Rate > maxRate || len(p.Samples) > len(b)) {
			t.Errorf("%d samples at %d Hz of %d bytes", len(p.Samples), p.Rate, len(b))
		}
	})
}

// TestResample: a tone keeps its place in time, its frequency and its strength; what
// lies above half the new rate goes.
func TestResample(t *testing.T) {
	for _, rate := range []int{8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000} {
		for _, tone := range []struct{ hz, want float64 }{{700, 1}, {3000, 1}, {5000, 0}} {
			if tone.hz > 0.45*float64(rate) {
				continue
			}
			p := Piece{Rate: rate, Samples: make([]float32, rate/2)}
			for i := range p.Samples {
				p.Samples[i] = float32(math.Cos(2 * math.Pi * tone.hz * (float64(i)/float64(rate) - 0.1)))
			}
			out, worst := To8k(p), 0.0
			for i := 200; i < len(out)-200; i++ {
				want := tone.want * math.Cos(2*math.Pi*tone.hz*(float64(i)/Rate-0.1))
				worst = math.Max(worst, math.Abs(float64(out[i])-want))
			}
			if worst > 0.02 {
				t.Errorf("%d Hz, tone of %.0f Hz: off by %.3f", rate, tone.hz, worst)
			}
		}
	}
}

func TestFault(t *testing.T) {
	tone := func(a float64) (p Piece) {
		p.Rate = 8000
		for i := range 5 * 8000 {
			p.Samples = append(p.Samples, float32(math.Max(-1, math.Min(1, a*math.Sin(float64(i)/3)))))
		}
		return p
	}
	for word, p := range map[string]Piece{"silence": tone(0), "clipped": tone(3), "short": {Rate: 8000, Samples: make([]float32, 100)}, "": tone(0.1)} {
		if got := Fault(p); !strings.Contains(got, word) || (got == "") != (word == "") {
			t.Errorf("want %q, got %q", word, got)
		}
	}
}

// TestDown: sound that arrives bit by bit becomes the same as in one piece.
func TestDown(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for _, rate := range []int{8000, 11025, 12000, 44100, 48000} {
		p := Piece{Rate: rate, Samples: make([]float32, rate)}
		for i := range p.Samples {
			p.Samples[i] = r.Float32() - 0.5
		}
		want, d := To8k(p), NewDown(rate)
		var got []float32
		for rest := p.Samples; len(rest) > 0; {
			n := min(1+r.IntN(rate/5), len(rest))
			got, rest = d.Add(got, rest[:n]), rest[n:]
		}
		if int64(len(got)) != d.Made() || len(got) < len(want)-halfTaps-2 || len(want) != Rate || !slices.Equal(got, want[:len(got)]) {
			t.Errorf("%d Hz: %d samples, made %d, of %d", rate, len(got), d.Made(), len(want))
		}
	}
}

// TestClip: two in a hundred samples at the end of the range are too many, wherever they come.
func TestClip(t *testing.T) {
	for clipped, want := range map[int]bool{19: false, 21: true} {
		x := make([]float32, 1000)
		for i := range clipped {
			x[i*40] = [2]float32{1, -1}[i%2]
		}
		var c Clip
		c.Take(x[:300])
		c.Take(x[300:])
		if got := c.Fault(); (got != "") != want {
			t.Errorf("%d of 1000: %q", clipped, got)
		}
	}
}
