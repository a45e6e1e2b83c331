package hear

import (
	"bytes"
	"context"
	"encoding/binary"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"noonmark/clockcheck/air/airtest"
	"noonmark/clockcheck/air/band"
	"noonmark/cmd/internal/cli"
)

// pcm is sound as a device sends it, amplified, what is too loud cut off.
func pcm(samples []float32, by float32) (out []byte) {
	for _, v := range samples {
		out = binary.LittleEndian.AppendUint16(out, uint16(int16(32767*max(-1, min(1, by*v)))))
	}
	return out
}

// jsSix has the shortest period of all modes.
func jsSix(t *testing.T) band.Mode {
	t.Helper()
	m, err := band.ModeNamed("JS8-6")
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestLiveBadSound: what comes in live and is no band gets its word, and the service is told nothing.
func TestLiveBadSound(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	m := jsSix(t)
	for _, tt := range []struct {
		word string
		add  func(*rand.Rand, []float32)
		by   float32
	}{
		{"silence", nil, 0},
		{"clipped", nil, 20},
		{"No signal of JS8-6", nil, 1},
		{"a voice", func(r *rand.Rand, x []float32) { airtest.Voice(r, x, 15) }, 1},
		{"music", func(r *rand.Rand, x []float32) { airtest.Music(r, x, 15) }, 1},
		{"Clicks", func(r *rand.Rand, x []float32) { airtest.Clicks(r, x, 5, 15) }, 1},
		{"a carrier", func(r *rand.Rand, x []float32) { airtest.Carriers(r, x, 1, 15) }, 1},
		{"1 stations are plain enough; 5 are the least", func(r *rand.Rand, x []float32) { // one, loud and clean
			copy(x, airtest.Band(r, m, airtest.Channel{}, []airtest.Sender{{BeginS: 2, FreqHz: 900, SNRdB: 20}, {BeginS: 8, FreqHz: 900, SNRdB: 20}}, 14))
		}, 1},
		{"left out, muted or far louder", func(r *rand.Rand, x []float32) { // our own transmission
			copy(x[4*airtest.Rate:], airtest.Band(r, m, airtest.Channel{}, []airtest.Sender{{BeginS: 0.1, FreqHz: 900, SNRdB: 50}}, 4))
			for i := range 4 * airtest.Rate {
				x[4*airtest.Rate+i] *= 300
			}
		}, 1},
	} {
		r := rand.New(rand.NewPCG(1, 2))
		x := make([]float32, 14*airtest.Rate)
		if tt.add != nil {
			tt.add(r, x)
		}
		s := newStudio(0)
		code, text := listenFor(t, s, m, bytes.NewReader(pcm(airtest.Noise(r, x), tt.by)), cli.Hear{Rate: airtest.Rate})
		if code != 1 || len(s.asked) != 0 || !strings.Contains(text, tt.word) {
			t.Errorf("%s: %d, %d told: %s", tt.word, code, len(s.asked), text)
		}
	}
}

// TestLiveWrongRate: samples that come at 12000 Hz where 16000 are said.
func TestLiveWrongRate(t *testing.T) {
	s := newStudio(0)
	s.lasts = blockLasts * 16000 / 12000
	code, text := listen(t, s, bytes.NewReader(raw(t, "busy_05.wav")), cli.Hear{Rate: 16000})
	if code != 1 || len(s.asked) != 0 || !strings.Contains(text, "12000 samples come in a second, not 16000. Say so: --rate 12000") {
		t.Errorf("%d, %d told: %s", code, len(s.asked), text)
	}
}

// TestDeviceFallsSilent: a device that stops sending is named after a while, and not before.
func TestDeviceFallsSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		in, device := io.Pipe()
		s := newStudio(0)
		h := &hearer{out: io.Discard, sample: s.sample, now: s.now, tell: s.tell}
		begin := time.Now()
		go func() {
			for range 20 {
				device.Write(make([]byte, 2*800))
				time.Sleep(blockLasts)
			}
		}()
		code, err := h.live(t.Context(), cli.Hear{Rate: 8000, Channel: 1, Channels: 1}, jsSix(t), in)
		if silent := time.Since(begin) - 19*blockLasts; code != 1 || err == nil || !strings.Contains(err.Error(), "device is gone") || silent < quietLimit || silent > quietLimit+blockLasts {
			t.Errorf("%d, %v, after %v of silence", code, err, silent)
		}
		in.Close()
	})
}

// TestRateIsChecked: sound of no rate, or of one that cannot be taken, is refused before it is read.
func TestRateIsChecked(t *testing.T) {
	for _, rate := range []int{0, 4000, 96000} {
		c := cli.Hear{Mode: "FT8", Raw: true, Rate: rate, Channel: 1, Channels: 1}
		if code, err := Hear(context.Background(), c, strings.NewReader("xx"), io.Discard, io.Discard); code != 2 || err == nil || !strings.Contains(err.Error(), "8000 to 48000 Hz") {
			t.Errorf("%d Hz: %d, %v", rate, code, err)
		}
	}
}
