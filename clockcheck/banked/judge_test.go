package banked

import (
	"math"
	"slices"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// station is a small world: a system clock that is right, a local timescale that gains
// nothing, a receiver that is late, servers. What is expected of it follows from how it is
// made; no figure here is evidence of real devices.
type station struct {
	t    *testing.T
	j    *Judge
	now  timescale.Local
	utc  timescale.UTC
	lie  time.Duration // of the receiver
	late time.Duration
	got  clockcheck.Judgement
	lost bool // nobody right is heard: the guard is not looked at
}

func newStation(t *testing.T, learned clockcheck.Learned) *station {
	ft8, _ := clockcheck.ModeNamed("FT8")
	w := &station{t: t, now: 1e9, utc: timescale.UTCOf(time.Date(2031, 2, 3, 4, 0, 0, 0, time.UTC)), late: 150 * time.Millisecond}
	w.j = New(clockcheck.Config{Modes: []clockcheck.Mode{ft8}}, learned)
	w.open()
	return w
}

func (w *station) open() {
	w.j.ReceiverOpened("", clockcheck.Serial)
	w.j.ReceiverNamed("a receiver at 9600")
}

// run lets seconds pass, with an epoch each.
func (w *station) run(seconds int) {
	for range seconds {
		w.now, w.utc = w.now.Add(time.Second), w.utc.Add(time.Second)
		said := w.utc.Add(w.lie).Time()
		day := said.Truncate(24 * time.Hour)
		jitter := time.Duration(w.now/1e9*7919%17-8) * time.Millisecond / 4
		w.j.GNSS(&clockcheck.GNSS{At: w.now.Add(w.late + jitter), Year: day.Year(), Month: int(day.Month()), Day: day.Day(),
			TimeOfDay: said.Sub(day), Valid: true, Satellites: 9})
		w.j.Judge(w.now.Add(500*time.Millisecond), w.utc.Add(500*time.Millisecond), &w.got)
		if g := &w.got; !w.lost && g.Guarded && math.Abs(g.Error) > g.Guard {
			w.t.Fatalf("error %.3f s with a guard of %.3f s, and the clock is right", g.Error, g.Guard)
		}
	}
}

func (w *station) server(name string, off time.Duration) {
	w.j.Network(&clockcheck.Network{Server: name, At: w.now, UTC: w.utc.Add(off), Bound: 10 * time.Millisecond})
}

func (w *station) proved(what string) bool { return slices.Contains(w.got.Proved, what) }

// A lone receiver proves its second by two pages of leap-second data, and its lateness
// never; a server proves both.
func TestWhatIsProved(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(20 * 60)
	if w.proved("second") {
		t.Error("one page of leap-second data may be missed, and the second is called proved after it")
	}
	w.run(10 * 60)
	if !w.proved("second") || w.proved("latency") || w.got.Guard < 0.8 || w.got.Guard > 1.1 {
		t.Errorf("after half an hour proved is %v with a guard of %.2f s; want the second, and the lateness open", w.got.Proved, w.got.Guard)
	}
	if !w.j.Urgent() || w.j.Urgent() {
		t.Error("a proof is saved at once, and once")
	}
	w.server("a", 0)
	w.run(20)
	if !w.j.Urgent() {
		t.Error("so is that of the lateness")
	}
	if !w.proved("latency") || w.got.Guard > 0.15 {
		t.Errorf("a server spoke: proved is %v with a guard of %.2f s", w.got.Proved, w.got.Guard)
	}
}

// A restart while it doubts must doubt after (class 3): a false signal is no more right
// because the program forgot what it was before.
func TestRestartInDoubt(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.server("a", 0)
	w.run(40 * 60)
	w.lie = 2300 * time.Millisecond
	w.run(10 * 60)
	kept := w.j.Learned()
	if len(kept.Held.Doubted) == 0 {
		t.Fatal("nobody is doubted, though the receiver jumped by 2.3 s")
	}
	ft8, _ := clockcheck.ModeNamed("FT8")
	w.j = New(clockcheck.Config{Modes: []clockcheck.Mode{ft8}}, kept)
	w.open()
	w.now, w.utc = w.now.Add(10*time.Second), w.utc.Add(10*time.Second)
	w.j.Resume(w.now)
	w.run(60 * 60) // fails if the truth leaves the guard
	if v := w.got.Modes[0].Verdict; v == clockcheck.Within && math.Abs(w.got.Error) > 0.5 {
		t.Errorf("within, %.2f s off", w.got.Error)
	}
}

// The room that is kept reaches as far as the guard: a part of it kept as σ the stream would take
// away after the restart. How well the best explanation knows UTC, σ, is kept beside it.
func TestKeptRoomIsTheGuard(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(5 * 60)
	lo, hi := w.j.bank.Guard(0)
	if h := w.j.Learned().Held; hi-lo < 2 || h.RoomLoS > lo+1e-3 || h.RoomHiS < hi-1e-3 || h.SigmaS < 0.4 {
		t.Errorf("kept %.3f to %.3f s ± %.3f, the guard is %.3f to %.3f s", h.RoomLoS, h.RoomHiS, h.SigmaS, lo, hi)
	}
}

// Another receiver under the same name (class 7): without a witness its lateness may be
// elsewhere by what two units of one kind differ (σ 0.25 s), of which the guard holds 95 %.
func TestAnotherReceiver(t *testing.T) {
	w := newStation(t, clockcheck.Learned{Latencies: []clockcheck.LearnedLatency{{Key: "a receiver at 9600", LatencyS: 0.15, SigmaS: 0.01}}})
	w.late = 600 * time.Millisecond
	w.run(40 * 60)
	if w.proved("latency") {
		t.Error("a lateness that nobody has compared in this run is called proved")
	}
}

// Three names of one liar, met over one visit, are one witness (class 5).
func TestOneVisitIsOneWitness(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(30 * 60)
	for _, name := range []string{"a", "b", "c"} {
		w.server(name, 5*time.Second)
	}
	w.run(60)
	if w.got.Modes[0].Verdict == clockcheck.Within {
		t.Errorf("within, with an error of %.1f s", w.got.Error)
	}
}

// Sentences that change nothing allocate nothing.
func TestNoAllocation(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.server("a", 0)
	w.run(30 * 60)
	e := clockcheck.GNSS{Year: 2031, Month: 2, Day: 3, Valid: true, Satellites: 9}
	if n := testing.AllocsPerRun(1000, func() {
		w.now, w.utc = w.now.Add(time.Second), w.utc.Add(time.Second)
		e.At, e.TimeOfDay = w.now.Add(w.late), time.Duration(w.utc)%(24*time.Hour)
		w.j.GNSS(&e)
	}); n > 0 {
		t.Errorf("%v allocations an epoch, want none", n)
	}
}

// inDoubt is a station with as many explanations as nights have: two servers, the
// receiver and the hardware clock contradict each other.
func inDoubt(t *testing.T) *station {
	w := newStation(t, clockcheck.Learned{Latencies: []clockcheck.LearnedLatency{{Key: "a receiver at 9600", LatencyS: 0.15, SigmaS: 0.01}}})
	w.lost = true
	w.run(60)
	for k, lie := range []time.Duration{700 * time.Millisecond, 250 * time.Millisecond, 900 * time.Millisecond, 400 * time.Millisecond} {
		w.server(string(rune('a'+k)), 2*lie)
		w.j.RTC(&clockcheck.RTC{Edge: w.now, Value: w.utc.Add(3 * lie), Sigma: time.Millisecond})
		w.run(65 * 60) // another visit
		w.lie = lie
		w.run(60)
	}
	return w
}

// look is one look at the stream, which each track hears.
func (w *station) look() {
	w.now = w.now.Add(10 * time.Second)
	w.j.bank.Hear(&bank.Reading{Source: bank.Receiver, At: w.now, Z: w.j.rx.Last.Z, Var: 1e-5, Dated: true, Stream: bank.Stream{LateMost: 1.2}})
}

// BenchmarkLook is the dearest reading.
func BenchmarkLook(b *testing.B) {
	w := inDoubt(&testing.T{})
	for b.Loop() {
		w.look()
	}
	b.ReportMetric(float64(len(w.j.bank.Tracks())), "tracks")
}

// BenchmarkBareFilters is what the filters of as many explanations cost by themselves: what
// a look is measured against, so that the load of the machine cancels.
func BenchmarkBareFilters(b *testing.B) {
	w := inDoubt(&testing.T{})
	var f [bank.MaxTracks]estimate.Filter
	n := copy(f[:], filters(w.j.bank.Tracks()))
	now := w.now
	for b.Loop() {
		now = now.Add(10 * time.Second)
		for i := range f[:n] {
			f[i].Advance(now)
			mean, v := f[i].Expect(estimate.Stream)
			f[i].Measure(mean, estimate.Stream, v+1e-5)
		}
	}
}

func filters(tracks []bank.Track) (f []estimate.Filter) {
	for i := range tracks {
		f = append(f, tracks[i].F)
	}
	return f
}

func BenchmarkEpoch(b *testing.B) {
	w := newStation(&testing.T{}, clockcheck.Learned{})
	w.server("a", 0)
	w.run(30 * 60)
	e := clockcheck.GNSS{Year: 2031, Month: 2, Day: 3, Valid: true, Satellites: 9}
	for b.Loop() {
		w.now, w.utc = w.now.Add(time.Second), w.utc.Add(time.Second)
		e.At, e.TimeOfDay = w.now.Add(w.late), time.Duration(w.utc)%(24*time.Hour)
		w.j.GNSS(&e)
	}
}

func BenchmarkJudge(b *testing.B) {
	w := newStation(&testing.T{}, clockcheck.Learned{})
	w.server("a", 0)
	w.run(30 * 60)
	for b.Loop() {
		w.now, w.utc = w.now.Add(time.Second), w.utc.Add(time.Second)
		w.j.Judge(w.now, w.utc, &w.got)
	}
}

// That two servers contradict the receiver is kept at once: a power cut after it would have the next
// start believe the receiver. Once in a run for each source: what comes and goes wears no card.
func TestWhomTheRunFoundFalseIsSavedAtOnce(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.servers(5*time.Minute, map[string]float64{"a": 0, "b": 0}, nil)
	w.run(untilProved)
	w.j.Urgent()
	for n := range 3 {
		w.lie = 5
		w.servers(5*time.Minute, map[string]float64{"a": 0, "b": 0}, nil)
		if w.trust("receiver") != clockcheck.Faulty {
			t.Fatal("the receiver is not called faulty: this proves nothing")
		}
		if got := w.j.Urgent(); got != (n == 0) {
			t.Errorf("contradicted %d times: urgent %v", n+1, got)
		}
		w.lie = 0
		w.servers(30*time.Minute, map[string]float64{"a": 0, "b": 0}, nil)
		w.j.Urgent()
	}
}
