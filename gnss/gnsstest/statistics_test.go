package gnsstest

import (
	"math"
	"slices"
	"testing"
	"time"
)

// Latency keeps to its law: never earlier than mean − jitter, late tail, sd.
func TestLatency(t *testing.T) {
	sample := func(l Latency, n int) []float64 {
		bursts := run(New(Model{Warm: true, WarmFix: 1, Sentences: []string{"RMC"}, Latency: l}, 3), start, n, open)
		late := make([]float64, n)
		for i, b := range bursts {
			late[i] = b.At.Sub(start.Add(time.Duration(i) * time.Second)).Seconds()
		}
		return late
	}
	stats := func(x []float64) (mean, sd float64) {
		for _, v := range x {
			mean += v / float64(len(x))
		}
		for _, v := range x {
			sd += (v - mean) * (v - mean) / float64(len(x))
		}
		return mean, math.Sqrt(sd)
	}
	x := sample(Latency{Mean: 250 * time.Millisecond, Jitter: 20 * time.Millisecond}, 20000)
	mean, sd := stats(x)
	slices.Sort(x)
	if math.Abs(mean-0.25) > 0.002 || math.Abs(sd-0.02) > 0.002 || x[0] < 0.23-1e-9 || x[len(x)/2] > mean {
		t.Errorf("mean %.4f sd %.4f min %.4f median %.4f", mean, sd, x[0], x[len(x)/2])
	}
	x = sample(Latency{Mean: 100 * time.Millisecond, Ramp: 180 * time.Millisecond, RampSpan: 200 * time.Millisecond}, 7200)
	if d := x[3600] - x[1]; math.Abs(d-0.18) > 0.001 || math.Abs(x[4100]-0.105) > 0.001 {
		t.Errorf("ramp: %.4f in an hour, %.4f after going back", d, x[4100])
	}
	x = sample(Latency{Jump: 300 * time.Millisecond, JumpAfter: time.Minute}, 120)
	if x[59] > 0.121 || x[61] < 0.419 {
		t.Errorf("jump: %.3f before, %.3f after", x[59], x[61])
	}
	x = sample(Latency{Bimodal: 0.25, BimodalBy: 200 * time.Millisecond}, 4000)
	if mean, _ := stats(x); math.Abs(mean-0.17) > 0.006 {
		t.Errorf("bimodal: mean %.4f", mean)
	}
	var ends []float64
	for seed := range uint64(60) {
		r := New(Model{Latency: Latency{Mean: time.Second, Wander: 10 * time.Millisecond}, Sentences: []string{"RMC"}}, seed)
		run(r, start, 3600, Scene{})
		ends = append(ends, r.walk.Seconds())
	}
	if _, sd := stats(ends); sd < 0.007 || sd > 0.013 {
		t.Errorf("wander: sd %.4f after an hour, want 0.010", sd)
	}
}

// Positions wander slowly, with the sd asked for: not white.
func TestPositionWander(t *testing.T) {
	r := New(Model{Warm: true, WarmFix: 1, Baud: 115200, Sentences: []string{"RMC"}, PositionSigmaM: 4}, 11)
	var sq, step, n float64
	before := 0.0
	for i, s := range rmcs(t, run(r, start, 40000, open)) {
		if !s.valid {
			continue
		}
		north := (s.lat - camp.LatDeg) * 111195
		sq += north * north
		if i > 1 {
			step += (north - before) * (north - before)
		}
		before = north
		n++
	}
	sd, white := math.Sqrt(sq/n), math.Sqrt(step/n)
	if sd < 2.8 || sd > 5.2 || white > 0.1*sd {
		t.Errorf("sd %.2f m, second to second %.2f m", sd, white)
	}
}
