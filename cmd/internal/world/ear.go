package world

import (
	"math"
	"math/rand/v2"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// Band is what the station's radio hears of others, period after period.
type Band struct {
	Stations int           // in a period, on average; 0 = nobody
	Late     time.Duration // all of them together, by their clocks: a camp on one bad clock
	Delay    time.Duration // of way, filter and sound
	Own      bool          // our own signal, heard back, is among them
	Period   time.Duration // of the mode; 0 = 15 s
	Doubt    time.Duration // of the mode's start, which the bound holds
}

// ear is the program that listens.
type ear struct {
	band   Band
	signal TimeSignal
	rng    *rand.Rand
	next   timescale.Local // when it next examines the band
	minute timescale.Local // when it next looks for a time signal
	agreed bool            // what was heard last was trusted
	heard  timescale.Local // when a crowd was last heard, since the program was started; 0 = never
	lean   time.Duration   // by how much that is off, however often it is heard
	others [2]others       // of the band: who sends in even and who sends in odd periods
}

// period is that of the band's mode.
func (b *Band) period() time.Duration {
	if b.Period == 0 {
		return 15 * time.Second
	}
	return b.Period
}

// tune lets the ear begin with an empty store of sound. It needs two periods, so that each
// signal is in it whole once, and 75 s for a minute's begin.
func (e *ear) tune(now timescale.Local) {
	e.next, e.minute, e.agreed = now.Add(2*e.band.period()), now.Add(signalFirst), false
}

// calm: while what it hears is trusted, it looks at one period in nine, as package hear does.
const calm = 9

// tieBound is how well the sound is tied to the local timescale, s.
const tieBound = 0.016

// scatter draws how far a station's clock and start are from the crowd's middle, s: as in 57
// recordings of real bands (1,291 signals), half within 0.1 s, 68 % within 0.2, 90 % within
// 1.0, 99 % within 1.9 s; evenly in between.
func scatter(r *rand.Rand) float64 {
	edges := [...]struct{ p, s float64 }{{0, 0}, {0.5, 0.1}, {0.68, 0.2}, {0.9, 1}, {0.99, 1.9}, {1, 2.5}}
	u := r.Float64()
	for i := 1; i < len(edges); i++ {
		if a, b := edges[i-1], edges[i]; u <= b.p {
			return math.Copysign(a.s+(b.s-a.s)*(u-a.p)/(b.p-a.p), r.Float64()-0.5)
		}
	}
	return 0
}

// others are stations of a band that send in the same periods.
type others struct {
	off  []float64       // how far each is from the crowd's middle, s
	last timescale.Local // when they were last heard
}

// stay is for how long a station stays on the band, on average. In seven recordings of one band
// (data/air, busy_), paired by frequency to 3 Hz and by offset to 0.1 s, 78 % of the stations were heard
// again after 30 s, 55 after 2.5 min, 35 after 5 to 8 min, and 5 in the periods between. Until it
// goes, its clock is as wrong as it was.
const stay = 8 * time.Minute

// hear draws who is heard now of an average of n: some of those there are, of whom some have
// come since the last time.
func (o *others) hear(r *rand.Rand, n int, now timescale.Local) []float64 {
	gone := 1 - math.Exp(-now.Sub(o.last).Seconds()/stay.Seconds())
	o.last = now
	all := int(1.4*float64(n) + 0.5)
	for i := range max(all, len(o.off)) {
		switch {
		case i >= len(o.off):
			o.off = append(o.off, scatter(r))
		case r.Float64() < gone:
			o.off[i] = scatter(r)
		}
	}
	o.off = o.off[:all]
	r.Shuffle(all, func(i, k int) { o.off[i], o.off[k] = o.off[k], o.off[i] })
	return o.off[:min(int(float64(n)*(0.6+0.8*r.Float64())+0.5), all)]
}

// listen lets the ear examine a period and a minute, when one is due.
func (w *World) listen() {
	e := &w.ear
	w.listenForSignal()
	period := e.band.period()
	if e.band.Stations == 0 || w.local < e.next {
		return
	}
	e.next = w.local.Add(period)
	if e.agreed {
		e.next = w.local.Add(calm * period)
	}
	off := w.system / 1e9 // the others seem late by how much our clock is fast
	var x []float64
	for _, o := range e.others[int64(w.local)/int64(period)&1].hear(e.rng, e.band.Stations, w.local) {
		x = append(x, math.Remainder(off+(e.band.Late+e.band.Delay).Seconds()+o, period.Seconds()))
	}
	if e.band.Own {
		x = append(x, 0.1)
	}
	o, err := crowd.Of(x, period.Seconds())
	if err != nil {
		return
	}
	e.heard, e.lean = w.local, e.band.Late+e.band.Delay-time.Duration(crowd.Delay*1e9)
	system := w.utc.Add(time.Duration(w.system))
	w.Station.Air(clockcheck.Air{Source: clockcheck.Crowd, At: w.local, UTC: system.Add(-time.Duration((o.OffsetS - crowd.Delay) * 1e9)), Modulo: period,
		Bound: time.Duration((o.BoundS + tieBound + e.band.Doubt.Seconds()) * 1e9), Common: time.Duration((crowd.Floor + tieBound + e.band.Doubt.Seconds()) * 1e9), Signals: o.Signals})
}

// Crowd tells how long ago a crowd was last heard, and by how much the clock would seem fast by it though
// it were right; false where none was since the program was started.
func (w *World) Crowd() (lean, ago time.Duration, heard bool) {
	return w.ear.lean, w.local.Sub(w.ear.heard), w.ear.heard != 0
}

// overhear notes whether the service trusts what was heard, and is sure enough.
func (w *World) overhear(s *status.Snapshot) {
	if w.ear.band.Stations == 0 {
		return
	}
	w.ear.agreed = true
	for _, r := range s.References {
		w.ear.agreed = w.ear.agreed && (r.Kind != "air" || r.Trust == status.Trusted)
	}
	for _, m := range s.Modes {
		w.ear.agreed = w.ear.agreed && m.Verdict == status.Within
	}
}
