package baseline

import (
	"flag"
	"math"
	"os"
	"testing"
)

var nights = flag.Int("nights", 4, "how many nights of each station are played")

// What the estimate may be off by, beside the optimum: where all is as ordinary, and where the
// oscillator is restless or the latency walks. The same nights give the same figures.
const usual, restless = 1.15, 1.3

// In the steady state with a learned latency the estimate is nearly as good as the optimum, and
// half as far off at most as the RFC 5905 loop is; where the latency walks, the optimum itself is
// hardly better than the loop. A receiver of two modes is no linear filter's: there the judge
// leaves the optimum, which is the best linear one, behind. The table is what
//
//	go test ./cmd/internal/baseline -run Figures -v -nights 16
//
// prints.
func TestFigures(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine, and ten times slower under the race detector")
	}
	stations := Stations()
	if os.Getenv("NOONMARK_LONG") == "" {
		stations = stations[:2]
	}
	if testing.Verbose() {
		Report(os.Stdout, *nights)
	}
	for _, s := range stations {
		n, most := *nights, usual
		if s.WalkFM > 1e-17 {
			most = restless
		}
		if s.WanderS > 0 { // no walk is like another
			n, most = 2*n, restless
		}
		f := Compare(s, n)
		if f.Judge > most*f.Optimal {
			t.Errorf("%s: judge %.3f ms, optimum %.3f ms", s.Name, f.Judge*1e3, f.Optimal*1e3)
		}
		if s.WanderS == 0 && f.Judge > 0.5*f.Loop {
			t.Errorf("%s: judge %.3f ms, loop %.3f ms", s.Name, f.Judge*1e3, f.Loop*1e3)
		}
		if f.Optimal > f.Loop*1.1 || s.Jitter.Share == 0 && f.Optimal > 1.05*f.Judge {
			t.Errorf("%s: the optimum, %.3f ms, is none: loop %.3f ms, judge %.3f ms", s.Name, f.Optimal*1e3, f.Loop*1e3, f.Judge*1e3)
		}
	}
}

// quiet is a night without any noise, of an oscillator that goes right.
func quiet(seconds int) *trace {
	t := draw(Station{Latency: 0.1}, seconds, 1)
	for k := range t.arrival {
		t.local[k] = t.local[0].Add(utc(k).Sub(utc(0)))
		t.arrival[k] = t.local[k].Add(utc(0).Add(1e8).Sub(utc(0)))
	}
	return t
}

// The loop's answer to an offset of 100 ms at 64 s a poll. As a differential
// equation, the corrections of section 11.3 are e″ + e′/T + e/(4T)² = 0 with T the
// gain times the poll interval, 1024 s; its solution from e = 100 ms, e′ = −e/T is
// 107.7·exp(−0.933 t/T) − 7.7·exp(−0.067 t/T) ms: through zero at 3.04 T = 52 min,
// overshoot 4.8 ms at 6.08 T = 104 min.
func TestLoopAnswersAsDesigned(t *testing.T) {
	l := loop{poll: 6, gain: workingGain, synced: true}
	zero, least, leastAt := 0, 0.0, 0
	for k := range 8 * 3600 {
		left := 0.1 - l.adjust
		if left <= 0 && zero == 0 {
			zero = k
		}
		if left < least {
			least, leastAt = left, k
		}
		if k%64 == 0 {
			l.update(float64(k), left)
		}
		l.second()
	}
	if z, at := float64(zero)/60, float64(leastAt)/60; math.Abs(z-52) > 2 || math.Abs(least*1e3+4.8) > 0.5 || math.Abs(at-104) > 5 {
		t.Errorf("zero after %.0f min, overshoot %.1f ms after %.0f min", z, -least*1e3, at)
	}
}

// Without noise all estimates are the truth.
func TestWithoutNoise(t *testing.T) {
	q := quiet(nightS)
	q.learned = 0
	for _, c := range settings {
		if v := q.follow(c); v > 1e-6 {
			t.Errorf("%+v: %.3g s", c, v)
		}
	}
	if v := q.optimal(1); v > 1e-6 {
		t.Errorf("optimum: %.3g s", v)
	}
	var r rms
	q.judge(0.1, r.add)
	if r.value() > 1e-6 {
		t.Errorf("judge: %.3g s", r.value())
	}
}

// A single late burst is a popcorn spike and moves no loop; a step that stays is
// stepped after WATCH.
func TestLoopSpikesAndSteps(t *testing.T) {
	l := loop{poll: 4, gain: workingGain}
	at := 0.0
	give := func(n int, offset float64) {
		for range n {
			at += 16
			l.sample(at, offset+1e-5*math.Sin(at)-l.adjust)
		}
	}
	give(10, 0)
	freq := l.freq
	give(1, 0.1)
	if l.freq != freq || l.offset > 1e-3 {
		t.Errorf("a spike moved the loop: %v, %v s", l.freq-freq, l.offset)
	}
	give(10, 0)
	give(30, 0.3)
	if l.adjust != 0 {
		t.Errorf("stepped before WATCH: %v s", l.adjust)
	}
	give(60, 0.3)
	if math.Abs(l.adjust-0.3) > 1e-3 {
		t.Errorf("not stepped after WATCH: %v s", l.adjust)
	}
}

// What is drawn has the spread that the optimum is told, and the mean 0.
func TestJitterIsAsSaid(t *testing.T) {
	for _, s := range Stations() {
		s.WanderS = 0
		tr := draw(s, 200000, 5)
		var sum, square float64
		for k := range tr.arrival {
			v := tr.arrival[k].Sub(tr.local[k]).Seconds() - s.Latency
			sum += v
			square += v * v
		}
		n := float64(len(tr.arrival))
		sd := math.Sqrt(s.Jitter.variance())
		if math.Abs(sum/n) > 5*sd/math.Sqrt(n)+1e-6 || math.Abs(square/n/sd/sd-1) > 0.05 {
			t.Errorf("%s: mean %.3g s, sd %.3g s, said 0 and %.3g s", s.Name, sum/n, math.Sqrt(square/n), sd)
		}
	}
}
