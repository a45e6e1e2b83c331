package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/source/receiver"
	"noonmark/clockcheck/timescale"
)

// learnedFrom is what a station keeps that was compared with a server at home.
func learnedFrom(w *world, off float64, names ...string) clockcheck.Learned {
	return clockcheck.Learned{RatePPM: -w.ppm, RateSigmaPPM: 0.3,
		Latencies: []clockcheck.LearnedLatency{{Key: "r1", LatencyS: w.latency, SigmaS: 0.02}},
		RTC: &clockcheck.LearnedRTC{At: w.utc.Add(-20 * time.Minute), OffsetS: off, SigmaS: 0.01, RatePPM: 0, RateSigmaPPM: 0.5,
			DateProved: true, Ancestry: names}}
}

func TestNothingSaysNothing(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.mute = true
	w.run(20 * time.Second)
	w.want(clockcheck.Unknown, clockcheck.BasisNone)
	if w.got.Known || w.got.Guarded {
		t.Fatalf("an estimate out of nothing: %+v", w.got)
	}
}

func TestLoneReceiverMustWaitForTheWholeSecond(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.sys = 0.01
	w.run(10 * time.Second)
	w.want(clockcheck.Borderline, clockcheck.BasisGNSS)
	if w.got.Guard < 18 {
		t.Fatalf("guard %.2f s does not span missing leap seconds", w.got.Guard)
	}
	w.run(20 * time.Minute)
	w.want(clockcheck.Borderline, clockcheck.BasisGNSS)
	w.run(10 * time.Minute)
	if w.got.Guard > 1.3 || w.got.Guard < 0.9 {
		t.Fatalf("guard %.3f s: the latency hull of an unproved serial receiver is 0 to 1.2 s", w.got.Guard)
	}
	w.honest()
}

func TestLearnedLatencyAndServerGiveWithin(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.sys = 0.1
	w.run(10 * time.Second)
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc.Add(4 * time.Millisecond), Bound: 20 * time.Millisecond})
	w.run(10 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	if w.got.Guard > 0.15 {
		t.Errorf("guard %.3f s after a ±20 ms server", w.got.Guard)
	}
	if l := w.j.Learned(); len(l.Latencies) != 0 {
		t.Errorf("learned %+v while leap-second data may be missing", l.Latencies)
	}
	w.run(untilProved)
	l := w.j.Learned()
	if len(l.Latencies) != 1 || math.Abs(l.Latencies[0].LatencyS-w.latency) > 0.05 {
		t.Errorf("learned latency %+v, true %v", l.Latencies, w.latency)
	}
	w.honest()
}

// A sentence may describe the second before, and leap-second data may be missing: for
// half an hour the two hide each other. What is learned must not be a second short.
func TestLatencyIsNotLearnedASecondShort(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.valid, w.latency = false, 0.06
	w.run(time.Minute)
	w.valid = true
	w.run(10 * time.Second)
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 10 * time.Millisecond})
	w.run(12 * time.Minute)
	if l := w.j.Learned().Latencies; len(l) != 0 {
		t.Errorf("learned %+v while leap-second data may be missing", l)
	}
	w.lie = -1 // they come in
	w.run(untilProved)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	w.honest()
	if l := w.j.Learned().Latencies; len(l) != 1 || math.Abs(l[0].LatencyS-1.06) > 0.05 {
		t.Errorf("learned %+v, the receiver is 1.06 s late", l)
	}
}

func TestConfiguredLatency(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.latencyKnown()
	w.run(untilProved)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	w.honest()
}

// A receiver that lies from its start by whole seconds cannot be seen through
// alone; the guard must say so.
func TestLieFromTheStart(t *testing.T) {
	for _, lie := range []float64{1, 3, 18} {
		w := newWorld(t, clockcheck.Learned{})
		w.lie = lie
		w.run(12 * time.Minute)
		w.honest()
	}
}

func TestLieBesideAGoodRTC(t *testing.T) {
	for _, lie := range []float64{3, -3, 40, 86400 * 3} {
		w := newWorld(t, clockcheck.Learned{})
		w.j = New(w.j.cfg, learnedFrom(w, 0.3, "server"))
		w.rtcOff, w.lie = 0.3, lie
		w.readRTC()
		w.j.ReceiverOpened("r1", clockcheck.Serial)
		w.run(30 * time.Minute)
		w.honest()
		if lie != 3 && w.seen[clockcheck.Within] > 5 { // 3 s ahead is what missing leap-second data make
			t.Errorf("lie %v: within said for %d s while two references disagree", lie, w.seen[clockcheck.Within])
		}
	}
}

func TestJumpAfterTenMinutes(t *testing.T) {
	for _, lie := range []float64{3, -3, 40, 0.7, -25} {
		for _, proved := range []bool{false, true} {
			if lie == -3 && !proved {
				continue // declared: a lone receiver that steps back by what its leap-second data may be short of
			}
			w := newWorld(t, clockcheck.Learned{})
			w.run(10 * time.Second)
			if proved {
				w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
			}
			w.run(10 * time.Minute)
			w.lie = lie
			w.run(40 * time.Minute)
			w.honest()
			if r := w.reference("gnss"); proved && r.Trust == clockcheck.Trusted {
				t.Errorf("jumped by %v s, and %+v", lie, r)
			}
		}
	}
}

// A false signal that leads a lone receiver away, faster than the documentation
// declares visible, must be seen before a false word is said.
func TestDragIsSeen(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for _, row := range []struct {
		ppm   float64
		learn time.Duration // alone with a true signal before
	}{{1000, 10 * time.Minute}, {300, 10 * time.Minute}, {200, time.Hour}, {40, 4 * time.Hour}} {
		w := newWorld(t, clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 0.5})
		w.run(10 * time.Second)
		w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
		w.run(row.learn)
		w.drag = row.ppm * 1e-6
		w.run(3 * time.Hour)
		if row.ppm < 200 {
			w.missed = 0 // below the declared rate it is seen late, but seen
		}
		w.honest()
		if w.reference("gnss").Trust == clockcheck.Trusted {
			t.Errorf("a drag of %v ppm was not seen: %.3f s off", row.ppm, w.lie)
		}
	}
}

func TestSilenceIsHoldover(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.run(10 * time.Second)
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
	w.run(time.Hour)
	before := w.got.Modes[0].GoodFor
	w.mute = true
	w.run(30 * time.Minute)
	w.want(clockcheck.Within, clockcheck.BasisHoldover)
	if after := w.got.Modes[0].GoodFor; after <= 0 || after >= before+60 {
		t.Errorf("good for %.0f s before, %.0f s after half an hour of silence", before, after)
	}
	w.honest()
}

// Good-until must be a promise that the guard keeps: running on without a
// reading, the verdict must fall near the instant named, not well before.
func TestGoodUntilIsKept(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.run(10 * time.Second)
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
	w.run(untilProved)
	w.mute = true
	w.run(30 * time.Second)
	good := w.got.Modes[1].GoodFor // FT4
	w.to(w.utc.Add(time.Duration(good-60) * time.Second))
	w.j.Judge(w.local, w.utc, &w.got)
	if w.got.Modes[1].Verdict != clockcheck.Within {
		t.Errorf("FT4 is %q a minute before the instant named", w.got.Modes[1].Verdict)
	}
	w.to(w.utc.Add(2 * time.Minute))
	w.j.Judge(w.local, w.utc, &w.got)
	if w.got.Modes[1].Verdict == clockcheck.Within {
		t.Errorf("FT4 is within a minute after the instant named")
	}
	w.honest()
}

func TestRTCBootWithLearnedState(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.j = New(w.j.cfg, learnedFrom(w, 0.3, "server"))
	w.rtcOff, w.rtcOn, w.mute, w.sys = 0.3, true, true, 0.2
	w.run(4 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisRTC)
	w.honest()
}

func TestUncomparedRTCProvesNothing(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.rtcOn, w.mute = true, true
	w.run(time.Minute)
	w.want(clockcheck.Unknown, clockcheck.BasisRTC)
}

// A lone receiver's mistake, laundered through the RTC, must not come back as a
// second witness: after the boot the RTC has the receiver's own ancestry.
func TestLaunderedMistakeProvesNothing(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	l := learnedFrom(w, 1, "receiver")
	l.RTC.SecLo = -18 // the second was never proved when it was compared
	w.j = New(w.j.cfg, l)
	w.j.ReceiverOpened("r1", clockcheck.Serial)
	w.rtcOff, w.lie, w.rtcOn = 1, 1, true
	w.run(12 * time.Minute)
	if w.got.Guard < 17 {
		t.Errorf("guard %.2f s: the agreement of a receiver with its own RTC was taken for proof", w.got.Guard)
	}
	w.honest()
}

// Boot after boot with one receiver and one RTC, nothing else: the receiver's
// latency must not come to seem proved by the RTC that it set itself.
func TestLatencyIsNotLaunderedByBoots(t *testing.T) {
	l, first := clockcheck.Learned{}, 0.0
	for boot := range 8 {
		w := newWorld(t, clockcheck.Learned{})
		w.latency = 1.1 // describes the previous second
		begin := w.utc.Add(-time.Second)
		w.j = New(w.j.cfg, l)
		w.rtcOn, w.rtcOff = true, 0.4
		w.readRTC()
		w.j.ReceiverOpened("r1", clockcheck.Serial)
		w.run(untilProved)
		w.honest()
		if w.proved("latency") {
			t.Fatalf("boot %d: the latency is proved", boot)
		}
		if boot == 0 {
			first = w.got.ErrorHi - w.got.ErrorLo
		} else if now := w.got.ErrorHi - w.got.ErrorLo; now < min(first, 1.2) {
			t.Fatalf("boot %d: the error spans %.3f s, at the first boot %.3f s, and nobody else was asked", boot, now, first)
		}
		l = w.j.Learned()
		l.RTC.At = begin // the next boot begins at the same true time
	}
}

// An RTC that something else sets is a weak witness after a power-off.
func TestWrittenRTCIsWeak(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	l := learnedFrom(w, 0.3, "server")
	l.RTC.Written = true
	w.j = New(w.j.cfg, l)
	w.rtcOn, w.rtcOff, w.mute = true, 0.8, true // set by the kernel, half a second off
	w.run(10 * time.Second)
	w.honest()
	if w.got.Modes[0].Verdict == clockcheck.Within {
		t.Errorf("within by a hardware clock that others set: guard %.2f s", w.got.Guard)
	}
}

// The same with an RTC of another ancestry is a proof.
func TestIndependentRTCProvesTheSecond(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.j = New(w.j.cfg, learnedFrom(w, 0.3, "server"))
	w.j.ReceiverOpened("r1", clockcheck.Serial)
	w.rtcOff, w.rtcOn = 0.3, true
	w.run(10 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	if !w.proved("second") {
		t.Error("the receiver's whole second is not proved")
	}
	w.honest()
}

// Leap-second data missing after a cold start: 3 s ahead for 4 min, then right.
// (Captures show −2 s with status A about 4 min after the fix.)
func TestLeapCorrection(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.valid = false
	w.run(30 * time.Second)
	w.valid, w.lie = true, 3
	w.run(4 * time.Minute)
	w.lie = 0
	w.run(untilProved)
	w.honest()
	if !w.proved("second") {
		t.Error("half an hour after the correction the whole second is not proved")
	}
	if math.Abs(w.got.Error) > 0.5 {
		t.Errorf("error %.3f s after the correction", w.got.Error)
	}
}

// TestLeapDataAfterABlink: at home beside servers a receiver misses a leap second, and
// has no fix for a moment just before the data come. The step back is the data's. Taken for
// a latency of a second it would be learned, and every later night be a second wrong.
func TestLeapDataAfterABlink(t *testing.T) {
	for _, blink := range []int{0, 1, 4, 7} { // epochs of status V
		w := newWorld(t, clockcheck.Learned{})
		servers := []clockcheck.Network{{Server: "192.0.2.1", Bound: 30 * time.Millisecond}, {Server: "192.0.2.2", Bound: 40 * time.Millisecond}, {Server: "192.0.2.3", Bound: 50 * time.Millisecond}}
		off := []time.Duration{0, 5 * time.Millisecond, -5 * time.Millisecond}
		for i := range servers {
			servers[i].At, servers[i].UTC = w.local, w.utc.Add(off[i])
			w.j.Network(&servers[i])
		}
		w.lie, w.valid = 1, false
		w.run(30 * time.Second)
		w.valid = true
		w.run(12 * time.Minute)
		w.valid = false
		w.run(time.Duration(blink) * time.Second)
		w.valid, w.lie = true, 0
		w.run(40 * time.Minute)
		w.ask(servers, off, 0)
		w.honest()
		l := w.j.Learned().Latencies
		if len(l) != 1 || math.Abs(l[0].LatencyS-w.latency) > 0.1 {
			t.Errorf("blink of %d s: learned %+v, the latency is %v", blink, l, w.latency)
		}
	}
}

func TestLeapAheadIsExplainedBesideRTC(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.j = New(w.j.cfg, learnedFrom(w, 0.3, "server"))
	w.j.ReceiverOpened("r1", clockcheck.Serial)
	w.rtcOff, w.rtcOn, w.valid = 0.3, true, false
	w.run(30 * time.Second)
	w.valid, w.lie = true, 2
	w.run(4 * time.Minute)
	if w.reference("gnss").State != clockcheck.StateLeapMissing || w.got.Modes[0].Verdict != clockcheck.Within {
		t.Errorf("%+v, verdict %q: two seconds ahead after a cold start is a known fault", w.reference("gnss"), w.got.Modes[0].Verdict)
	}
	w.lie = 0
	w.run(time.Minute)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	w.honest()
}

func TestWeekRollover(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.utc = timescale.UTCOf(time.Date(2027, 1, 3, 4, 5, 6, 0, time.UTC))
	w.lie = -1024 * 7 * 86400
	w.run(10 * time.Second)
	w.want(clockcheck.Borderline, clockcheck.BasisGNSS)
	if math.Abs(w.got.Error) > 1 {
		t.Errorf("error %v s: the week rollover was not repaired", w.got.Error)
	}
	w.honest()
}

// A receiver that gives no date has the day from an RTC that proves nothing: the
// verdict is unknown until something says the day.
func TestDateFromElsewhereIsNoProof(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.rtcOn, w.noDate = true, true
	w.run(20 * time.Second)
	w.want(clockcheck.Unknown, clockcheck.BasisRTC)
	w.noDate = false
	w.run(3 * time.Second)
	w.want(clockcheck.Borderline, clockcheck.BasisGNSS)
	w.honest()
}

// Firmware default dates must not be repaired into plausible false ones.
func TestDefaultDateIsNotRepaired(t *testing.T) {
	j := New(clockcheck.Config{Floor: testFloor}, clockcheck.Learned{})
	j.ReceiverOpened("r", clockcheck.Serial)
	for i := range 20 {
		j.GNSS(&clockcheck.GNSS{At: timescale.Local(i) * 1e9, Year: 1980, Month: 1, Day: 6, TimeOfDay: time.Duration(i) * time.Second, Valid: true})
	}
	if j.bank.Best().Located || j.rx.Fault != receiver.EarlyDate {
		t.Errorf("1980-01-06 was believed: %+v", j.rx.Fault)
	}
}

func TestReceiverThatIsNoClock(t *testing.T) {
	for name, g := range map[string]clockcheck.GNSS{
		"simulated": {Simulated: true, Valid: true}, "backlog": {Backlog: true, Valid: true}, "not valid": {},
	} {
		w := newWorld(t, clockcheck.Learned{})
		for range 30 {
			w.to(w.utc.Add(time.Second))
			g.At, g.Year, g.Month, g.Day = w.local, 2031, 2, 3
			g.TimeOfDay = w.utc.Sub(timescale.UTCOf(w.utc.Time().Truncate(24 * time.Hour)))
			w.j.GNSS(&g)
			w.judge()
		}
		if w.got.Known {
			t.Errorf("%s: taken for evidence of time", name)
		}
	}
}

func TestTwoServersOutvoteALiar(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.mute = true
	say := func(name string, off float64) {
		w.j.Network(&clockcheck.Network{Server: name, At: w.local, UTC: w.utc.Add(time.Duration(off * 1e9)), Bound: 30 * time.Millisecond})
	}
	say("192.0.2.9", 7)
	w.run(5 * time.Second)
	say("192.0.2.1", 0.01)
	w.run(5 * time.Second)
	if w.got.Modes[0].Verdict == clockcheck.Within {
		t.Error("two servers that disagree, and a verdict")
	}
	say("192.0.2.2", -0.01)
	w.run(5 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisNetwork)
	if math.Abs(w.got.Error) > 0.1 {
		t.Errorf("error %.3f s: the liar won", w.got.Error)
	}
}

// A liar close by may lie within what x leaves open, but not within what the others say.
// Whoever speaks first, x must not follow it.
func TestLiarCloseBy(t *testing.T) {
	servers := []clockcheck.Network{{Server: "192.0.2.1", Bound: 26 * time.Millisecond}, {Server: "192.0.2.2", Bound: 9 * time.Millisecond},
		{Server: "192.0.2.3", Bound: 8 * time.Millisecond}}
	lies := []time.Duration{8 * time.Millisecond, 5 * time.Millisecond, -70 * time.Millisecond}
	for first := range servers {
		w := newWorld(t, clockcheck.Learned{})
		w.latencyKnown()
		w.run(untilProved)
		w.ask(servers, lies, first)
		if e := w.got.Error - w.sys; math.Abs(e) > 0.02 {
			t.Errorf("%s first: %.3f s off", servers[first].Server, e)
		}
		w.want(clockcheck.Within, clockcheck.BasisGNSS)
		w.honest()
	}
}

func TestSomebodyElseSetsTheRTC(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.rtcOn = true
	w.run(10 * time.Second)
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
	w.run(10 * time.Minute)
	w.rtcOff += 5.5
	w.run(time.Minute)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	l := w.j.Learned().RTC
	if l == nil || !l.Written || math.Abs(l.OffsetS-w.rtcOff) > 0.1 {
		t.Errorf("learned RTC %+v, true offset %v", l, w.rtcOff)
	}
	w.honest()
}

func TestSuspend(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.rtcOn = true
	w.run(10 * time.Second)
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
	w.run(10 * time.Minute)
	keep := w.local
	w.to(w.utc.Add(time.Hour))
	w.local = keep + 1e9 // the local timescale stood still
	w.j.Segment(w.local)
	w.mute = true
	w.run(10 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisRTC)
	w.honest()
}

// TestSuspendBringsNoHardwareClock: a clock that is not there does not run after a sleep.
func TestSuspendBringsNoHardwareClock(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.j.RTCMissing("This computer has no hardware clock.")
	w.run(10 * time.Second)
	w.j.Segment(w.local)
	w.judge()
	if r := w.got.References[1]; r.Kind != "rtc" || r.Trust != clockcheck.Silent || r.Because != "This computer has no hardware clock." {
		t.Errorf("after a sleep: %+v", r)
	}
}

func TestVerdictRisesAfterTwoSeconds(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	for _, name := range []string{"192.0.2.1", "192.0.2.2", "192.0.2.3"} { // one alone is not vouched for while others are asked
		w.j.Network(&clockcheck.Network{Server: name, At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
	}
	w.mute = true
	w.judge()
	w.want(clockcheck.Borderline, clockcheck.BasisNetwork)
	w.run(3 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisNetwork)
	w.sys = 5
	w.judge()
	w.want(clockcheck.Outside, clockcheck.BasisNetwork)
}

// What is held over from one reference counts as its word: a lone server or mark
// that differs does not outvote it.
func TestHoldoverHasAVoice(t *testing.T) {
	for _, by := range []string{"server", "mark"} {
		w := newWorld(t, clockcheck.Learned{})
		w.latencyKnown()
		w.run(untilProved)
		w.mute = true
		w.run(5 * time.Minute)
		w.want(clockcheck.Within, clockcheck.BasisHoldover)
		if by == "server" {
			w.j.Network(&clockcheck.Network{Server: "192.0.2.9", At: w.local, UTC: w.utc.Add(5 * time.Second), Bound: 20 * time.Millisecond})
		} else {
			w.mark(5, 250*time.Millisecond, true)
		}
		w.run(time.Minute)
		if w.got.Modes[0].Verdict == clockcheck.Within || math.Abs(w.got.Error-w.sys) > w.got.Guard {
			t.Errorf("%s: %s, error %.3f s, guard %.3f s: %s", by, w.got.Modes[0].Verdict, w.got.Error, w.got.Guard, w.got.Because)
		}
		w.honest()
	}
}
