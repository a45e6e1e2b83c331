package sound_test

import (
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"noonmark/clockcheck/air/airtest"
	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/sound"
)

// simulated is a sound of a kind, 15 s.
func simulated(r *rand.Rand, kind string, snr float64) []float32 {
	x := make([]float32, 15*airtest.Rate)
	switch kind {
	case "voice":
		airtest.Voice(r, x, snr)
	case "music":
		airtest.Music(r, x, snr)
	case "Clicks":
		airtest.Clicks(r, x, 3+5*r.Float64(), snr)
	case "a carrier":
		airtest.Carriers(r, x, 1, snr)
	case "narrow":
		m := band.Modes()[r.IntN(2)]
		return airtest.Band(r, m, airtest.Moderate, []airtest.Sender{{FreqHz: 600 + 1500*r.Float64(), SNRdB: snr}}, m.Period.Seconds())
	}
	return airtest.Noise(r, x)
}

// TestLike: simulated sounds, 10 to 20 dB, get their word in five of six cases or more, and
// noise never one. NOONMARK_TEST_LONG takes 60 of each.
func TestLike(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	n := 6
	if testing.Short() {
		n = 1
	}
	if os.Getenv("NOONMARK_TEST_LONG") != "" {
		n = 60
	}
	for _, kind := range []string{"voice", "music", "Clicks", "a carrier", "narrow", "noise"} {
		right, others := 0, map[string]int{}
		for range n {
			switch got := sound.Like(simulated(r, kind, 10+10*r.Float64())); {
			case kind == "noise" && got == "", kind != "noise" && strings.Contains(got, kind):
				right++
			default:
				others[got]++
			}
		}
		t.Logf("%s: %d of %d", kind, right, n)
		if right < max(n*5/6, 1) || kind == "noise" && right < n {
			t.Errorf("%s: %d of %d: %v", kind, right, n, others)
		}
	}
	if got := sound.Like(nil); got != "" {
		t.Error(got)
	}
}

// TestLikeOfReal: a band of weak signals is called neither a voice nor clicks.
func TestLikeOfReal(t *testing.T) {
	for _, f := range []string{"busy_03", "busy_34", "field-110115", "field-110200", "websdr_test10", "websdr_test4"} {
		b, err := os.ReadFile("../../../testdata/air/" + f + ".wav")
		if err != nil {
			t.Fatal(err)
		}
		p, err := sound.WAV(b, 0)
		if err != nil {
			t.Fatal(err)
		}
		if got := sound.Like(sound.To8k(p)); strings.Contains(got, "voice") || strings.Contains(got, "Clicks") {
			t.Errorf("%s: %s", f, got)
		}
	}
}
