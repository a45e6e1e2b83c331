package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

// A learned lateness that a server has spoken against is kept with that doubt: a start
// after that reckons with another unit at its price, and no cheaper or dearer.
func TestDoubtOfLatenessIsKept(t *testing.T) {
	kept := clockcheck.Learned{Latencies: []clockcheck.LearnedLatency{{Key: "a receiver at 9600", LatencyS: 0.15, SigmaS: 0.01}}}
	doubt := func(late, lie time.Duration) float64 {
		w := newStation(t, kept)
		w.late = late
		for range 10 {
			w.server("a", 0)
			w.run(60)
		}
		w.lie = lie
		w.run(60)
		l := w.j.Learned().Latencies
		if len(l) != 1 {
			t.Fatalf("kept %+v", l)
		}
		if l[0].DoubtNats == 0 {
			return 20
		}
		return l[0].DoubtNats
	}
	another := bank.New(bank.Config{}).Nats(bank.LatenessNew)
	if d := doubt(150*time.Millisecond, 0); d < another {
		t.Errorf("beside a server that bears it out the doubt is %.1f nats, without one %.1f", d, another)
	}
	for _, lie := range []time.Duration{0, 1800 * time.Millisecond} { // then a false signal, which tells nothing of the unit
		if d := doubt(600*time.Millisecond, lie); d > another-1 {
			t.Errorf("beside a server that speaks against it, and a lie of %v, the doubt is %.1f nats, without one %.1f", lie, d, another)
		}
	}
}

// A lie that begins while the program is dead moves the stream of the run before: that is no other
// than a jump that was seen, and the truth stays in what is said.
func TestMovedWhileDead(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(45 * 60)
	l := w.j.Learned()
	w.lie = 440 * time.Millisecond
	w.restart(l, time.Minute)
	w.run(40 * 60)
	if w.got.ErrorLo > 0 || w.got.ErrorHi < 0 {
		t.Errorf("the clock is right, and %.2f to %.2f s off by what is said", w.got.ErrorLo, w.got.ErrorHi)
	}
	w.lie = 0
	w.run(20 * 60)
	if w.got.ErrorLo > 0 || w.got.ErrorHi < 0 || w.got.References[0].Trust == clockcheck.Faulty {
		t.Errorf("right again: %.2f to %.2f s off by what is said, the receiver is %s", w.got.ErrorLo, w.got.ErrorHi, w.got.References[0].Trust)
	}
}

// newDoubting is a station after a power-off of an hour. The run before learned the receiver's lateness, doubted the
// receiver, and left a hardware clock that is known to sigma, s.
func newDoubting(t *testing.T, sigma float64) *station {
	w := newStation(t, clockcheck.Learned{Latencies: []clockcheck.LearnedLatency{{Key: "a receiver at 9600", LatencyS: 0.15, SigmaS: 0.01}}})
	w.j.learned.RTC = &clockcheck.LearnedRTC{At: w.utc.Add(-time.Hour), SigmaS: sigma, RateSigmaPPM: 0.1, DateProved: true, Ancestry: []string{"server"}, Doubted: []clockcheck.DoubtedSet{{Whom: []string{"receiver"}}}}
	w.j = New(clockcheck.Config{Modes: w.j.cfg.Modes, RTCCompensated: true}, w.j.learned)
	w.open()
	w.j.RTC(&clockcheck.RTC{Edge: w.now, Value: w.utc, Sigma: time.Millisecond})
	return w
}

// A receiver that the run before found false comes within 3 σ of what the hardware clock and its
// learned lateness have it say: by so wide an expectation that is no sign that it is right again.
func TestComesBackOnlyWhereExpected(t *testing.T) {
	w := newDoubting(t, 0.08)
	w.lie = 2300 * time.Millisecond
	w.run(60)
	w.lie = -240 * time.Millisecond
	w.run(10 * 60)
	if math.Abs(w.got.Error) > 0.1 {
		t.Errorf("the clock is right, and is said to be %.2f s off, as the receiver says", w.got.Error)
	}
	w.lie = 0
	w.run(10 * 60)
	if w.got.References[0].Trust == clockcheck.Faulty {
		t.Errorf("right again, it stays out: %s", w.got.References[0].Because)
	}
}

// A hardware clock that is good to 5 s only, since the run before was in doubt, foretells nothing: a
// receiver that it found false, still 1 s wrong, does not come back by that.
func TestComesBackOnlyWhereUTCIsKnown(t *testing.T) {
	w := newDoubting(t, 1.3)
	w.lie = -time.Second
	w.run(45 * 60) // fails if the truth leaves the guard
	if w.proved("second") || !w.got.Guarded {
		t.Errorf("as likely as not the receiver is false, and proved is %v, guard %.1f s", w.got.Proved, w.got.Guard)
	}
}

// A unit that describes the second before gave way to a usual one of the same identity, which is alone:
// the guard holds where that has UTC, 1.07 s away (run looks at that each second).
func TestAUsualUnitAfterOneOfTheSecondBefore(t *testing.T) {
	w := newStation(t, clockcheck.Learned{Latencies: []clockcheck.LearnedLatency{{Key: "a receiver at 9600", LatencyS: 1.11, SigmaS: 0.01}}})
	w.late = 40 * time.Millisecond
	w.run(45 * 60)
	if !w.got.Guarded || w.got.Guard > 1.5 {
		t.Errorf("after 45 min the guard is %.2f s: this proves little", w.got.Guard)
	}
}

// A unit that describes the second to come gave way to a usual one of the same identity, which is alone:
// the guard holds where that has UTC, 0.72 s away.
func TestAUsualUnitAfterOneOfTheSecondToCome(t *testing.T) {
	w := newStation(t, clockcheck.Learned{Latencies: []clockcheck.LearnedLatency{{Key: "a receiver at 9600", LatencyS: -0.04, SigmaS: 0.01}}})
	w.late = 680 * time.Millisecond
	w.run(45 * 60)
	if !w.got.Guarded || w.got.Guard > 1.5 {
		t.Errorf("after 45 min the guard is %.2f s: this proves little", w.got.Guard)
	}
}

// A receiver is found false, and a start later it is right again. What is held was told by its
// own stream, among others: both together know no more.
func TestHeldAndItsStreamAreOneWord(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.late = 500 * time.Millisecond // far from the ends of what a lateness may be
	evening := func() {
		for range 45 {
			w.run(60)
			w.crowd(0)
		}
	}
	evening()
	w.restart(clockcheck.Learned{Latencies: w.j.Learned().Latencies}, time.Hour)
	evening()
	before := w.got.ErrorHi - w.got.ErrorLo
	w.lie = 1800 * time.Millisecond
	w.run(60)
	l := w.j.Learned()
	if l.Held == nil || len(l.Held.Doubted) == 0 || len(l.Latencies) == 0 {
		t.Fatalf("the receiver jumped by 1.8 s, and kept is %+v", l)
	}
	w.restart(l, time.Minute)
	w.run(5 * 60)
	w.lie = 0
	w.run(30 * 60)
	if w.got.References[0].Trust != clockcheck.Trusted {
		t.Fatalf("the receiver is %s: this proves nothing", w.got.References[0].Trust)
	}
	if after := w.got.ErrorHi - w.got.ErrorLo; after < before*0.98 {
		t.Errorf("UTC is known to %.3f s before the lie, to %.3f after", before, after)
	}
}

// The first server to answer is not vouched for while the next ones are being asked.
func TestFirstOfManyServers(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	after := func(d time.Duration) bool {
		w.now, w.utc = w.now.Add(d), w.utc.Add(d)
		w.j.Judge(w.now, w.utc, &w.got)
		return w.got.Guarded
	}
	w.server("a", 0)
	if after(time.Second) || after(3*time.Second) {
		t.Errorf("%s says the time, and the guard is said to be %.2f s", w.got.Because, w.got.Guard)
	}
	w.server("b", 0)
	if after(4 * time.Second) {
		t.Error("the third to be asked has not had its turn")
	}
	if !after(2*time.Second) || w.got.Guard > 0.1 {
		t.Errorf("nobody else answers: guarded %v, %.2f s", w.got.Guarded, w.got.Guard)
	}
}

// The hardware clock was set by an hour while the program was dead, and speaks before what
// the run before knew is taken up: that was on the oscillator, and stands.
func TestClockSetWhileDead(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	tick := func(off time.Duration) {
		w.j.RTC(&clockcheck.RTC{Edge: w.now, Value: w.utc.Add(off), Sigma: time.Millisecond})
	}
	for range 5 {
		w.server("a", 0)
		tick(0)
		w.run(60)
	}
	l := w.j.Learned()
	if l.RTC == nil || l.Held == nil {
		t.Fatalf("kept is %+v", l)
	}
	w.now, w.utc = w.now.Add(time.Minute), w.utc.Add(time.Minute)
	w.j = New(w.j.cfg, l)
	tick(time.Hour)
	w.j.Resume(w.now)
	w.j.Judge(w.now, w.utc, &w.got)
	if math.Abs(w.got.Error) > 0.1 || w.got.Guard > 1 {
		t.Errorf("the clock is right, and said to be %.1f s off, guard %.1f s", w.got.Error, w.got.Guard)
	}
}

// The hardware clock was compared with the time that is held: both together know no more.
func TestHeldAndItsClockAreOneWord(t *testing.T) {
	for _, first := range []bool{false, true} {
		w := newStation(t, clockcheck.Learned{})
		w.restart(clockcheck.Learned{Held: &clockcheck.Held{At: w.now, OffsetNS: int64(w.utc) - int64(w.now), SigmaS: 0.1, RateSigmaPPM: 1, DateProved: true, Ancestry: []string{"server"}},
			RTC: &clockcheck.LearnedRTC{At: w.utc, SigmaS: 0.1, RateSigmaPPM: 1, DateProved: true, Ancestry: []string{"server"}}}, 0)
		if first { // the clock spoke before
			l := w.j.learned
			w.j = New(w.j.cfg, l)
		}
		for k := range 5 {
			w.j.RTC(&clockcheck.RTC{Edge: w.now, Value: w.utc, Sigma: time.Millisecond})
			if k == 0 {
				w.j.Resume(w.now)
			}
			w.now, w.utc = w.now.Add(time.Second), w.utc.Add(time.Second)
		}
		w.j.Judge(w.now, w.utc, &w.got)
		if w.got.Guard < 0.4 {
			t.Errorf("UTC is known to 0.4 s by one word, and the guard is %.3f s", w.got.Guard)
		}
	}
}

// What was kept of a hardware clock is not kept on once the best explanation takes it to
// be false: after a power-off it would be believed again.
func TestDisprovedClockIsNotKept(t *testing.T) {
	w := newStation(t, clockcheck.Learned{RTC: &clockcheck.LearnedRTC{At: timescale.UTCOf(time.Date(2031, 2, 3, 3, 0, 0, 0, time.UTC)),
		SigmaS: 0.02, RateSigmaPPM: 1, DateProved: true, Ancestry: []string{"server"}}})
	w.lost = true // the clock is an hour off
	w.j.RTC(&clockcheck.RTC{Edge: w.now, Value: w.utc.Add(time.Hour), Sigma: time.Millisecond})
	if w.j.Learned().RTC == nil {
		t.Fatal("the hardware clock is forgotten before anybody spoke against it")
	}
	w.server("a", 0)
	w.run(60)
	for range 40 { // no second server: another visit is needed for it to be another witness
		w.run(120)
		w.server("b", 0)
	}
	if w.j.bank.Best().Out.Has(bank.Clock) != (w.j.Learned().RTC == nil) {
		t.Errorf("the best explanation calls the hardware clock false: %v; kept %+v", w.j.bank.Best().Out.Has(bank.Clock), w.j.Learned().RTC)
	}
	if !w.j.bank.Best().Out.Has(bank.Clock) {
		t.Error("the hardware clock is not called false by receiver and server together")
	}
}

// What a crowd told of a lateness, ±0.3 s, proves none, and is worth keeping all the same: after
// a power-off the guard is narrower than that of a receiver of which nobody told anything.
func TestLooseLatenessIsKept(t *testing.T) {
	alone := func(l clockcheck.Learned) *station {
		w := newStation(t, l)
		w.run(45 * 60)
		return w
	}
	first := newStation(t, clockcheck.Learned{})
	for range 45 {
		first.run(60)
		first.crowd(0)
	}
	l := first.j.Learned()
	if first.proved("latency") || len(l.Latencies) != 1 || !l.Latencies[0].Loose {
		t.Fatalf("beside a crowd it proves %v, and keeps %+v", first.got.Proved, l.Latencies)
	}
	with, without := alone(l), alone(clockcheck.Learned{})
	if with.got.Guard > 0.6 || without.got.Guard < 0.8 || with.proved("latency") {
		t.Errorf("after a power-off the guard is %.2f s, and %.2f s without; it proves %v", with.got.Guard, without.got.Guard, with.got.Proved)
	}
	// It is kept once more; a server makes it a proved one.
	if again := with.j.Learned(); len(again.Latencies) != 1 || !again.Latencies[0].Loose || again.Latencies[0].SigmaS > looseMost {
		t.Errorf("after the second evening it keeps %+v", again.Latencies)
	}
	for range 4 {
		with.run(60)
		with.server("home", 0)
	}
	if last := with.j.Learned(); !with.proved("latency") || len(last.Latencies) != 1 || last.Latencies[0].Loose {
		t.Errorf("beside a server it proves %v, and keeps %+v", with.got.Proved, last.Latencies)
	}
}
