package lab

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
)

// A seed gives one night, whoever asks and how often; its story is in the order of time,
// and every kind comes.
func TestNewKindsAreDrawn(t *testing.T) {
	seen := map[string]int{}
	for seed := range uint64(200) {
		c := RandomNew(seed, "")
		if d := RandomNew(seed, ""); fmt.Sprint(c.Kinds, c.MayMiss, c.Osc, c.Air, len(c.Story)) != fmt.Sprint(d.Kinds, d.MayMiss, d.Osc, d.Air, len(d.Story)) {
			t.Fatalf("seed %d: %v and %v", seed, c.Kinds, d.Kinds)
		}
		for _, k := range c.Kinds {
			seen[k]++
		}
		for i := 1; i < len(c.Story); i++ {
			if c.Story[i].From < c.Story[i-1].From {
				t.Fatalf("seed %d: %v after %v", seed, c.Story[i].From, c.Story[i-1].From)
			}
		}
		if c.Length < NightLength {
			t.Errorf("seed %d lasts %v", seed, c.Length)
		}
	}
	for _, k := range KindNames() {
		if seen[k] < 5 {
			t.Errorf("%q came in %d of 200 nights", k, seen[k])
		}
		if c := RandomNew(3, k); !slices.Contains(c.Kinds, k) {
			t.Errorf("%q was asked for: %v", k, c.Kinds)
		}
	}
}

// What is declared is a class of the table, and only a small part of all nights.
func TestDeclaredIsThePartOfFew(t *testing.T) {
	var part, whole time.Duration
	for seed := range uint64(500) {
		c := RandomNew(seed, "")
		for at := time.Duration(0); at < c.Length; at += 10 * time.Minute {
			whole += 10 * time.Minute
			if slices.ContainsFunc(c.MayMiss, func(d Declared) bool { return d.has(at) }) {
				part += 10 * time.Minute
			}
		}
		for _, d := range c.MayMiss {
			if d.Class < 1 || d.Class > len(Classes) || d.from < 0 {
				t.Errorf("seed %d: %+v", seed, d)
			}
		}
	}
	t.Logf("%.3f of all time is declared", part.Hours()/whole.Hours())
	if s := part.Hours() / whole.Hours(); s < 0.01 || s > 0.25 {
		t.Errorf("%.3f of all time is declared", s)
	}
}

// The table in the guide is the one in the code.
func TestClassesAreInTheGuide(t *testing.T) {
	text, err := os.ReadFile(folder + "/README.md")
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range Classes {
		row := fmt.Sprintf("| %d | %s | %s | %s |", c.Number, c.What, c.Large, c.Reveals)
		if c.Number != i+1 || !strings.Contains(string(text), row) {
			t.Errorf("not in testdata/scenarios/README.md: %s", row)
		}
	}
}

// The new words are read into what they say.
func TestNewWords(t *testing.T) {
	c, err := Parse("x", strings.NewReader(`lasts 1 h
oscillator 9 ppm fast, tuning fork, cubic 0.0001 ppm
transmitter warms 6 C within 5 min, pushes 0.1 ppm, sends for 10 min, rests for 20 min
hardware clock plain, stops below -20 C, tells that it stopped
receiver cold, next second, each satellite 10 ms, poor sky 300 ms, off the second by 226 ms moving 139 ppm, rests 40 ms after 2 sentences, out of order 30 %, repeats for 30 s, estimates unsaid for 20 s, leap data after 25 min
line relay, behind 8 s, in steps of 16 ms, busy up to 3 s, twice 5 %
at 0:01 air -30 C within 4 min
at 0:02 air usual
at 0:03 sun 15 C within 5 min
at 0:04 oscillator jumps 12 ppm slow
at 0:05 system clock runs 80 ppm fast
at 0:06 system clock turned 300 ms slow
at 0:07 server a right, bound 20 ms, at 192.0.2.1, follows 192.0.2.9, stratum 2
at 0:08 portal 40 s slow, at 10.0.0.1
at 0:09 network delay 600 ms, queue 50 ms, there 90 %
at 0:10 status void for 10 s
at 0:11 status blinks 1 %
at 0:12 receiver restarts cold
at 0:13 receiver set to rate 5 Hz, sentences GGA RMC, latency 200 ms
at 0:14 line usual
at 0:15 program down for 5 s, stopped, former state
at 0:16 power off for 1 min, without shutdown, former state
at 0:17 portal gone
at 0:18 network gone
may miss the truth from 0:50, class 3
`))
	if err != nil {
		t.Fatal(err)
	}
	last := c.Story[len(c.Story)-1]
	by := func(min int) (s struct{ text string }) {
		for _, ch := range c.Story {
			if ch.From == time.Duration(min)*time.Minute {
				s.text = fmt.Sprintf("%+v", ch)
			}
		}
		return s
	}
	for min, want := range map[int]string{4: "OscJump:-12", 6: "Turn:-300ms", 9: "Way:{Delay:600ms Queue:50ms There:0.9}", 10: "Void:10s",
		11: "Blink:0.01", 15: "Down:5s Stopped:true Off:0s Cut:false Forget:false Former:true"} {
		if !strings.Contains(by(min).text, want) {
			t.Errorf("at 0:%02d %s: no %s", min, by(min).text, want)
		}
	}
	if len(last.Servers) != 0 || last.Portal != nil || c.MayMiss[0].Class != 3 || c.RTC.StopsBelowC != -20 || !c.RTC.StopTold ||
		c.Receiver.AlmanacAfter != 25*time.Minute || c.Link.Grain != 16*time.Millisecond || c.Osc.CurvePPM >= 0 {
		t.Errorf("%+v", c)
	}
	for text, want := range map[string]string{"lasts 1 h\nmay miss the truth always, class 99": "there is no class 99",
		"lasts 1 h\nat 0:01 server a right, at nowhere.1": "is no address", "lasts 1 h\nline broken": "a line is usual",
		"lasts 1 h\ntransmitter hums": "a transmitter warms"} {
		if _, err := Parse("x", strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

var newNights = flag.Uint64("new-nights", 2, "how many random nights of the new kinds are played")

// They play to their end. What they must hold is counted by go run ./cmd/stationlab nights
// --kinds new; see testdata/scenarios/README.md.
func TestNewKindsPlay(t *testing.T) {
	for seed := range *newNights {
		c := RandomNew(seed+1, "")
		c.Length = min(c.Length, 2*time.Hour)
		a, b := c.Play(seed+1, 0, nil), RandomNew(seed+1, "")
		b.Length = c.Length
		if n := b.Play(seed+1, 0, nil); n.Seconds != a.Seconds || n.Missed != a.Missed || n.RMS != a.RMS || a.Seconds == 0 {
			t.Errorf("seed %d: %+v and %+v", seed+1, a, n)
		}
	}
}

// The first generator draws what it always drew: figures of the same seeds stay comparable.
// The digest is of the commit before the second generator came.
func TestOldKindsAreAsTheyWere(t *testing.T) {
	digest := 0.0
	for seed := range uint64(200) {
		c := Random(seed + 1)
		digest += c.Osc.PPM + c.Air.OffC + c.RTC.PPM + c.RTCError.Seconds() + c.Receiver.Latency.Mean.Seconds() + c.Receiver.OwnPPM +
			float64(c.Receiver.LeapMissing) + c.Length.Hours() + float64(len(c.Story))
		for _, ch := range c.Story {
			digest += ch.From.Hours() + ch.Scene.FalseTime.Seconds() + ch.Scene.FalseDrag.Seconds() + ch.Scene.Corrupt + ch.Off.Hours() +
				ch.Step.Seconds() + float64(len(ch.Servers)+ch.Scene.Satellites)
		}
		for _, d := range c.MayMiss {
			digest += d.from.Hours() + d.to.Hours()
		}
	}
	if got := fmt.Sprintf("%.6f", digest); got != wantOldKinds {
		t.Errorf("digest %s, not %s", got, wantOldKinds)
	}
}

const wantOldKinds = "37590.897306"
