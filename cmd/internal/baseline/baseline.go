// Package baseline measures the judge's estimate against two others on the same
// simulated nights: the best there can be, a Kalman filter that is told the true
// noise; and a textbook, the clock filter and the phase/frequency-lock loop of
// RFC 5905.
//
// In: a Station and how many nights. Out: RMS errors in the steady state. It is
// for the laboratory and its tests: nothing of it runs in the service.
//
// All are told the latency, each as its own way of averaging sees it: what nobody
// can tell is not compared. Where the latency walks from then on, all err by what
// it walked, for only a witness tells a latency from UTC; the optimum's own ratio
// to the loop shows how far anybody can be better.
package baseline

import (
	"fmt"
	"io"
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/banked"
)

// A night, and its warm-up, which is not measured.
const (
	nightS = 12 * 3600
	warmS  = 6 * 3600
)

// Figures are RMS errors of some nights of a station, s.
type Figures struct {
	Station string
	Judge   float64
	Optimal float64
	Loop    float64
	// LoopAveraged: the same loop given means of all readings since its last poll
	// instead of the newest one, which RFC 5905 does not provide for.
	LoopAveraged float64
	Poll         int // log₂ s: the poll interval at which Loop was best
}

// Compare plays so many nights of a station; the same number gives the same
// figures. What the others leave open (poll interval, gain, the noise that stands
// for the temperature) is what was best for these nights, looking back.
func Compare(s Station, nights int) Figures {
	latency := learn(s)
	var judge rms
	loops := make([]rms, len(settings))
	optimals := make([]rms, len(boosts))
	for seed := range uint64(nights) {
		t := draw(s, nightS, seed+1)
		var one rms
		t.judge(latency, one.add)
		judge.add(one.value())
		for i, c := range settings {
			loops[i].add(t.follow(c))
		}
		for i, b := range boosts {
			optimals[i].add(t.optimal(b))
		}
	}
	f := Figures{Station: s.Name, Judge: judge.value(), Optimal: math.Inf(1), Loop: math.Inf(1), LoopAveraged: math.Inf(1)}
	for i, c := range settings {
		switch v := loops[i].value(); {
		case c.feed == averaged:
			f.LoopAveraged = min(f.LoopAveraged, v)
		case v < f.Loop:
			f.Loop, f.Poll = v, c.poll
		}
	}
	for i := range boosts {
		f.Optimal = min(f.Optimal, optimals[i].value())
	}
	return f
}

// key names the receiver to the judge.
const key = "receiver"

// learn is what the judge is told of a station's receiver: the latency with which
// its estimate is right in the mean of other nights. What counts as the latency
// of skewed arrivals is the estimator's own affair.
func learn(s Station) float64 {
	s.Name, s.WanderS = "", 0
	if l, ok := learned[s]; ok {
		return l
	}
	sum, n := 0.0, 0.0
	for seed := range uint64(4) {
		draw(s, nightS, 1000+seed).judge(s.Latency, func(err float64) { sum, n = sum+err, n+1 })
	}
	learned[s] = s.Latency + sum/n
	return learned[s]
}

// learned is what was learned of each station: those that differ by the walk alone share it. For
// one goroutine.
var learned = map[Station]float64{}

// heldSigma, s: the judge knows the whole second at the begin and no more: the receiver, whose latency was learned,
// tells the rest.
const heldSigma = 0.5

// reading is the burst of second k as the judge takes it.
func (t *trace) reading(k int) *clockcheck.GNSS {
	says := utc(k).Time()
	return &clockcheck.GNSS{At: t.arrival[k], TimeOfDay: says.Sub(says.Truncate(24 * time.Hour)),
		Year: says.Year(), Month: int(says.Month()), Day: says.Day(), Valid: true, Satellites: 9}
}

// judge shows each the errors, s, of the very judge of the service. It goes on from a run in the same boot, so that it
// knows the rate as the optimum does; over a power-off it would not believe that it did.
func (t *trace) judge(latency float64, each func(err float64)) {
	from := t.local[0]
	j := banked.New(clockcheck.Config{}, clockcheck.Learned{Latencies: []clockcheck.LearnedLatency{{Key: key, LatencyS: latency, SigmaS: 0.001}},
		Held: &clockcheck.Held{At: from, OffsetNS: int64(utc(0)) - int64(from), SigmaS: heldSigma, RatePPM: -t.learned * 1e6, RateSigmaPPM: rateSigma * 1e6,
			DateProved: true, Ancestry: []string{"server"}, Confirmed: from}})
	j.ReceiverOpened(key, clockcheck.Serial)
	j.Resume(from)
	var got clockcheck.Judgement
	for k := range t.arrival {
		j.Judge(t.local[k], utc(k), &got) // a right clock: what it is said to be off is the error
		if k >= warmS {
			each(got.Error)
		}
		j.GNSS(t.reading(k))
	}
}

// Report plays each station for so many nights and writes a table.
func Report(w io.Writer, nights int) {
	fmt.Fprintf(w, "RMS error, ms, in hours 6 to 12 of %d nights; j = judge\n", nights)
	fmt.Fprintf(w, "%-32s %7s %8s %9s %7s %9s %6s %6s %8s\n", "", "judge", "optimal", "RFC 5905", "poll s", "averaged", "j/opt", "j/RFC", "opt/RFC")
	for _, s := range Stations() {
		f := Compare(s, nights)
		fmt.Fprintf(w, "%-32s %7.3f %8.3f %9.3f %7d %9.3f %6.2f %6.2f %8.2f\n", f.Station, f.Judge*1e3, f.Optimal*1e3, f.Loop*1e3, 1<<f.Poll, f.LoopAveraged*1e3,
			f.Judge/f.Optimal, f.Judge/f.Loop, f.Optimal/f.Loop)
	}
}
