package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// mark has the operator mark the next whole minute, err seconds late.
func (w *world) mark(err float64, bound time.Duration, named bool) bool {
	minute := timescale.UTC(60 * timescale.Second)
	next := (w.utc/minute + 1) * minute
	for w.utc < next-timescale.UTC(timescale.Second) {
		w.second()
	}
	w.to(next.Add(time.Duration(err * 1e9)))
	m := clockcheck.Mark{At: w.local, Bound: bound}
	if named {
		m.UTC = next
	}
	return w.j.Mark(&m)
}

const byEar = 250 * time.Millisecond

func TestMarkAloneGivesTheTime(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.mute, w.sys = true, 0.3
	if w.mark(0.1, byEar, false) {
		t.Error("a minute that nobody named was placed out of nothing")
	}
	w.want(clockcheck.Unknown, clockcheck.BasisNone)
	w.mark(0.1, byEar, true)
	w.run(5 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisOperator)
	if w.got.Guard < byEar.Seconds() || w.got.Guard > 0.45 {
		t.Errorf("guard %.3f s", w.got.Guard)
	}
	w.run(2 * time.Hour)
	if w.got.Basis != clockcheck.BasisHoldover {
		t.Errorf("basis %s two hours after the mark", w.got.Basis)
	}
	w.honest()
}

// A mark proves a lone receiver's whole second, and bounds its latency.
func TestMarkProvesTheSecond(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.sys = 0.2
	w.run(20 * time.Second)
	w.want(clockcheck.Borderline, clockcheck.BasisGNSS)
	w.mark(-0.1, byEar, true)
	w.run(10 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	w.run(10 * time.Minute)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	w.honest()
}

// A receiver that is ahead for want of leap-second data, seen through by a mark.
func TestMarkSeesMissingLeapSeconds(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.valid = false
	w.run(5 * time.Second)
	w.valid, w.lie, w.sys = true, 2, 0.2
	w.run(20 * time.Second)
	w.mark(0.1, byEar, true)
	w.run(10 * time.Second)
	if math.Abs(w.got.Error-w.sys) > 0.3 || w.j.bank.Best().Lead != 2 {
		t.Errorf("error %.3f s, true %.3f s; receiver %d s ahead", w.got.Error, w.sys, w.j.bank.Best().Lead)
	}
	w.honest()
}

// Marks of one ear do not average: the person is late in the same way each time.
func TestMarksDoNotAverage(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.mute = true
	for range 20 {
		w.mark(0.2, byEar, true)
	}
	w.honest()
}

// A blunder (the wrong second) beside a proved receiver: nobody is believed until a
// second mark or a server decides.
func TestBlunderBesideAReceiver(t *testing.T) {
	for _, how := range []string{"mark", "server"} {
		w := newWorld(t, clockcheck.Learned{})
		w.latencyKnown()
		w.run(untilProved)
		w.want(clockcheck.Within, clockcheck.BasisGNSS)
		w.mark(3, byEar, true)
		w.run(10 * time.Second)
		w.want(clockcheck.Borderline, clockcheck.BasisGNSS)
		if r := w.reference("operator"); r.Trust != clockcheck.Doubted {
			t.Errorf("mark %s: %s", r.Trust, r.Because)
		}
		switch how {
		case "mark":
			w.mark(0.1, byEar, true)
			w.run(10 * time.Second)
		case "server":
			w.server(20 * time.Millisecond)
			w.run(10 * time.Second)
		}
		if how == "mark" { // beside a server of one visit another explanation stays: two are false
			w.want(clockcheck.Within, clockcheck.BasisGNSS)
		}
		if off := math.Abs(w.got.Error - w.sys); off > 0.1 {
			t.Errorf("%s: %.2f s off", how, off)
		}
		w.honest()
	}
}

// A later mark of the very person is no second witness, nor is the earlier one: the guard
// spans both, until more marks against one decide.
func TestOperatorCorrectsHimself(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.mute = true
	w.mark(5, byEar, true)
	w.mark(0.1, byEar, true)
	w.missed = 0 // a lone blunder cannot be seen through
	w.run(5 * time.Second)
	if v := w.got.Modes[0].Verdict; v == clockcheck.Within || w.got.Guard < 4 {
		t.Errorf("%s, guard %.2f s: two marks of one ear say otherwise", v, w.got.Guard)
	}
	n := 0
	for ; w.got.Modes[0].Verdict != clockcheck.Within && n < 6; n++ {
		w.mark(0, byEar, true)
		w.run(5 * time.Second)
	}
	if n == 0 || n == 6 || math.Abs(w.got.Error-w.sys) > 0.3 {
		t.Errorf("error %.2f s after %d more marks", w.got.Error-w.sys, n)
	}
	w.honest()
}

func TestBorrowedClock(t *testing.T) {
	for _, ours := range []bool{false, true} {
		w := newWorld(t, clockcheck.Learned{})
		w.lie = 3 // and the telephone that asked us says the same
		w.run(20 * time.Second)
		err := 0.0
		if ours {
			err = -3
		}
		w.to(w.utc.Add(time.Duration(err * 1e9)))
		said := w.utc.Add(-time.Duration(err * 1e9))
		w.to(w.utc.Add(time.Millisecond))
		w.j.Mark(&clockcheck.Mark{At: w.local, UTC: said, Bound: time.Second, Borrowed: true, OurOwn: ours})
		w.run(10 * time.Second)
		if w.got.Modes[0].Verdict == clockcheck.Within {
			t.Errorf("ours %v: within, the receiver is 3 s off: %s", ours, w.got.Because)
		}
		w.honest()
	}
}

// The RTC set after a mark has the operator's ancestry at the next boot.
func TestMarkAncestryIsKept(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.mute, w.rtcOn = true, true
	w.mark(0, byEar, true)
	w.run(time.Minute)
	l := w.j.Learned().RTC
	if l == nil || len(l.Ancestry) != 1 || l.Ancestry[0] != "operator" || l.SigmaS < 0.05 {
		t.Fatalf("learned %+v", l)
	}
}
