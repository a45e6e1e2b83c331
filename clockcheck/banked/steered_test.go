package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// Our own step is no news; the same step by somebody else is.
func TestOwnStepIsNoNews(t *testing.T) {
	for _, own := range []bool{false, true} {
		w := newWorld(t, clockcheck.Learned{})
		w.run(2 * time.Minute)
		w.j.Events(nil)
		w.sys -= 0.4
		if own {
			w.j.Stepped(-400 * time.Millisecond)
		}
		w.run(2 * time.Minute)
		told := false
		for _, e := range w.j.Events(nil) {
			told = told || e.Kind == "clock-stepped"
		}
		if told == own {
			t.Errorf("own %v, told %v", own, told)
		}
		if math.Abs(w.got.Error-w.sys) > w.got.Guard {
			t.Errorf("own %v: error %.3f", own, w.got.Error)
		}
		if own && math.Abs(w.got.RatePPM) > w.got.RateBoundPPM { // this clock goes as UTC does
			t.Errorf("the rate was taken from a step: %+.1f ppm", w.got.RatePPM)
		}
	}
}

// A correction that ends by itself does not use the margin up: good-for counts its
// end, and the kernel's frequency word.
func TestGoodForOfASteeredClock(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.latencyKnown()
	w.run(2 * time.Hour)
	plain := w.got.Modes[0].GoodFor
	w.j.Steered(clockcheck.Steered{On: true, FreqPPM: -w.ppm, Pending: 0})
	w.run(time.Second)
	held := w.got.Modes[0].GoodFor
	w.j.Steered(clockcheck.Steered{On: true, FreqPPM: -w.ppm, Pending: -0.3})
	w.run(time.Second)
	moved := w.got.Modes[0].GoodFor
	w.honest()
	if !(held > plain-10 && plain > 3600 && moved < held && moved > 1800) {
		t.Errorf("good for %g s free, %g s at the right rate, %g s while 0.3 s are taken out", plain, held, moved)
	}
}

// While the kernel writes the RTC from the very clock that is judged, the RTC is no
// witness for it: in a long holdover the guard must grow as if there were none.
func TestKernelWrittenRTCIsNoWitness(t *testing.T) {
	guards := map[bool]float64{}
	for _, kernel := range []bool{false, true} {
		w := newWorld(t, clockcheck.Learned{})
		w.latencyKnown()
		w.run(untilProved)
		w.j.KernelWritesRTC(kernel)
		w.mute = true
		for range 6 * 60 {
			for range 59 {
				w.second()
			}
			w.ppm += 0.01 // the oscillator wanders, and the clock with it
			w.rtcOn = kernel
			w.rtcOff = w.got.Error - w.sys // … and the RTC is what we made it
			w.second()
			w.rtcOn = false
		}
		w.honest()
		guards[kernel] = w.got.Guard
	}
	if guards[true] < 0.99*guards[false] {
		t.Errorf("6 h of holdover: guard %.3f s with a kernel-written RTC, %.3f s without", guards[true], guards[false])
	}
}

// What the kernel's writes leave the chip at is learned, and narrows the guard of the
// next boot; before it is learned half a second is allowed for. The boot may come
// before a write or after it.
func TestKernelBiasIsLearned(t *testing.T) {
	bias := 0.43
	boot := func(minutes int) (*world, float64) {
		w := newWorld(t, clockcheck.Learned{})
		w.latencyKnown()
		w.run(untilProved)
		w.j.KernelWritesRTC(true)
		for m := range minutes {
			w.run(59 * time.Second)
			if m%11 == 0 {
				w.rtcOff = bias + w.rng.Float64()*0.01
			}
			w.rtcOn = m%10 == 0
			w.second()
			w.rtcOn = false
		}
		next := newWorld(t, w.j.Learned())
		next.mute, next.rtcOn, next.rtcOff = true, true, bias+0.004
		next.utc = w.utc.Add(20 * time.Minute)
		next.run(5 * time.Second)
		next.honest()
		return next, next.got.Guard
	}
	_, unlearned := boot(5)
	_, learned := boot(90)
	if unlearned < 0.8 || learned > 0.5 || learned < 0.05 {
		t.Errorf("guard %.3f s unlearned, %.3f s learned", unlearned, learned)
	}
}

func TestOwnWriteOfTheRTC(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.latencyKnown()
	w.rtcOn, w.rtcOff, w.rtcPPM = true, 3, 5
	w.run(3 * time.Hour)
	rate := w.j.Learned().RTC.RatePPM
	w.j.Events(nil)
	w.j.WroteRTC()
	w.rtcOff = 0.002
	w.run(2 * time.Second)
	l := w.j.Learned().RTC
	for _, e := range w.j.Events(nil) {
		if e.Kind == "rtc-set" {
			t.Error("our own write was taken for another's")
		}
	}
	if l == nil || l.Written || math.Abs(l.RatePPM-rate) > 0.5 || math.Abs(rate-5) > 1 {
		t.Errorf("learned %+v, rate before %.2f ppm", l, rate)
	}
	w.honest()
}

// What was kept of the hardware clock is wrong as soon as somebody writes it: it is said
// that this must be saved at once, and nothing is said of the clock until it is read.
func TestWrittenRTCIsUrgent(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.mute, w.rtcOn, w.rtcOff = true, true, 2
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
	w.run(time.Minute)
	if !w.j.Urgent() {
		t.Error("the server's proof of the second is to be saved")
	}
	if l := w.j.Learned().RTC; l == nil || math.Abs(l.OffsetS-2) > 0.1 || w.j.Urgent() {
		t.Fatalf("learned %+v, urgent without a reason?", l)
	}
	w.j.KernelWritesRTC(true)
	if l := w.j.Learned().RTC; l != nil || !w.j.Urgent() || w.j.Urgent() {
		t.Errorf("the kernel writes the hardware clock, and %+v is kept of it", l)
	}
	w.rtcOff = 0.1
	w.run(2 * time.Second)
	if l := w.j.Learned().RTC; l == nil || math.Abs(l.OffsetS-0.1) > 0.1 || !l.Written || !w.j.Urgent() {
		t.Errorf("after the kernel's write %+v is kept", l)
	}
	w.run(time.Minute)
	if w.j.Urgent() {
		t.Error("urgent though nothing is new")
	}
	// Its writes end: the clock is still where they left it, and a power cut loses nothing.
	w.j.KernelWritesRTC(false)
	if l := w.j.Learned().RTC; l == nil || math.Abs(l.OffsetS-0.1) > 0.1 || !l.Written || !w.j.Urgent() {
		t.Errorf("after the kernel's last write %+v is kept", l)
	}
	w.j.WroteRTC()
	if l := w.j.Learned().RTC; l != nil {
		t.Errorf("we have set the clock, and %+v is kept of it", l)
	}
}
