package rtc

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

const (
	second = timescale.Local(1e9)
	built  = timescale.UTC(1_700_000_000e9) // a build date
)

// at is a reading at 100 s of the local timescale which claims UTC to be built + s.
func at(s float64) *clockcheck.RTC {
	return &clockcheck.RTC{Edge: 100 * second, Sigma: time.Millisecond, Value: built + timescale.UTC(s*1e9)}
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
		t.Errorf("%s is %g, want %g", what, got, want)
	}
}

// Which readings are evidence, and what is said of the others.
func TestTake(t *testing.T) {
	day := (24 * time.Hour).Seconds()
	for _, tt := range []struct {
		name  string
		r     *clockcheck.RTC
		floor timescale.UTC
		fault Fault
	}{
		{"sound", at(1), built, None},
		{"a day before the build: the builder's clock may be off", at(-day), built, None},
		{"older", at(-day - 1), built, EarlyDate},
		{"older, the build date unknown", at(-2 * day), 0, None},
		{"the chip lost its supply", &clockcheck.RTC{Value: built, Invalid: true}, built, Invalid},
	} {
		c := New(nil, 5)
		out, ok := c.Take(tt.r, tt.floor)
		if c.Fault != tt.fault || ok != (tt.fault == None) || c.Ticks != ok {
			t.Errorf("%s: fault %v, admitted %v, ticks %v; want fault %v", tt.name, c.Fault, ok, c.Ticks, tt.fault)
		}
		if c.Heard != tt.r.Edge {
			t.Errorf("%s: heard at %v", tt.name, c.Heard)
		}
		if want := int64(tt.r.Value) - int64(tt.r.Edge); ok && (out.Z != want || c.Z != want || out.At != tt.r.Edge || out.From != 5 || out.Source != bank.Clock) {
			t.Errorf("%s: %+v", tt.name, out)
		}
	}
}

// A reading's variance is that of its edge, and never nothing: 0.1 ms is assumed.
func TestVariance(t *testing.T) {
	c := New(nil, 0)
	r := at(0)
	out, _ := c.Take(r, 0)
	near(t, "the variance of 1 ms", out.Var, 1e-6)
	r.Sigma = 0
	out, _ = c.Take(r, 0)
	near(t, "the variance of 0", out.Var, 1e-8)
}

// A clock that ticks and then goes is missing, with the reason, until it is read.
func TestGone(t *testing.T) {
	c := New(nil, 0)
	c.Take(at(0), built)
	c.Gone("It was unplugged.")
	if c.Fault != Missing || c.Why != "It was unplugged." || c.Ticks {
		t.Errorf("%+v", c)
	}
	if c.Take(at(1), built); c.Fault != None || !c.Ticks {
		t.Errorf("read again: %+v", c)
	}
}

// learned is a comparison at the build date: 2.25 s ahead of UTC, ± 10 ms, gains 3 ± 1 ppm.
func learned() *clockcheck.LearnedRTC {
	return &clockcheck.LearnedRTC{At: built, OffsetS: 2.25, SigmaS: 0.01, RatePPM: 3, RateSigmaPPM: 1, SecLo: -1, SecHi: 2, DateProved: true}
}

// After the time off, the clock has gained its rate times it, and its σ grows with the
// rate's: what was learned, what other temperatures add, and what the thermometer tells.
func TestRecall(t *testing.T) {
	const off = 7200.0
	for _, tt := range []struct {
		name        string
		compensated bool
		turned      float64
		rate2       float64 // variance of the rate, s²/s²
	}{
		{"compensated", true, 0, sq(1e-6) + sq(0.7e-6)},
		{"plain", false, 0, sq(1e-6) + sq(36e-6)},
		{"plain, in another temperature", false, 20e-6, sq(1e-6) + sq(36e-6) + sq(10e-6)},
	} {
		c := New(learned(), 0)
		out, ok := c.Recall(at(off+2.25), tt.compensated, tt.turned)
		if !ok {
			t.Fatalf("%s: nothing is recalled", tt.name)
		}
		if out.Base != 2*timescale.Second || out.Lo != -1 || out.Hi != 2 || !out.Dated {
			t.Errorf("%s: %+v", tt.name, out)
		}
		near(t, tt.name+": offset", out.Offset, 0.25+3e-6*off)
		near(t, tt.name+": rate", out.Rate, 3e-6)
		near(t, tt.name+": σ", out.Sigma, math.Sqrt(1e-4+tt.rate2*off*off+1e-14*off))
		// The rate itself may be all of turned off; what it did to the offset on the way, half.
		near(t, tt.name+": σ of the rate", out.RateSigma, math.Sqrt(tt.rate2+sq(tt.turned)*3/4))
		if c.Kept() != nil {
			t.Errorf("%s: recalled, and still kept", tt.name)
		}
		if _, again := c.Recall(at(off+3.25), tt.compensated, 0); again {
			t.Errorf("%s: recalled twice", tt.name)
		}
	}
}

// A fork takes the camp's temperature within the hour: half an hour off opens its rate
// by half of what the cold can do besides.
func TestShortTimeOff(t *testing.T) {
	c := New(learned(), 0)
	out, _ := c.Recall(at(1800+2.25), false, 0)
	near(t, "σ of the rate", out.RateSigma, math.Hypot(1e-6, 24e-6))
}

// No comparison is worth less than knowing the kind of clock: the rate's learned σ is
// capped by the kind's own.
func TestRateNoWorseThanItsKind(t *testing.T) {
	l := learned()
	l.RateSigmaPPM = 400
	c := New(l, 0)
	out, _ := c.Recall(at(7200+2.25), true, 0)
	near(t, "σ of the rate", out.RateSigma, math.Hypot(5e-6/3.89, 0.7e-6))
	sigma, wander := RateSigma(true)
	near(t, "compensated", sigma, 5e-6/3.89)
	near(t, "its wander", wander, 3e-19)
	sigma, wander = RateSigma(false)
	near(t, "plain", sigma, 45e-6)
	near(t, "its wander", wander, 1e-12)
}

// A clock before its last comparison was set back, or stopped. Up to 2 s before it is
// read at the same moment, and nothing has passed.
func TestWentBack(t *testing.T) {
	c := New(learned(), 0)
	if out, ok := c.Recall(at(2.25-2), true, 0); !ok || out.Sigma != 0.01 {
		t.Errorf("2 s before: %v, %+v", ok, out)
	}
	c = New(learned(), 0)
	c.Take(at(2.25-2.1), 0)
	if _, ok := c.Recall(at(2.25-2.1), true, 0); ok || c.Fault != WentBack {
		t.Errorf("2.1 s before: recalled %v, fault %v", ok, c.Fault)
	}
	if c.Take(at(1.15), 0); c.Fault != WentBack {
		t.Errorf("the next reading forgets that it went back: fault %v", c.Fault)
	}
}

// What else may have set the clock since its comparison opens it: by what was measured
// of the kernel's writes, at least 20 ms, at most what is assumed without measurements. That
// the chip takes each write elsewhere is the dearer the more writes it stood still over: within ±30 ms by chance
// with 0.06 each.
func TestSlack(t *testing.T) {
	for _, tt := range []struct {
		name              string
		l                 clockcheck.LearnedRTC
		near, far, dearer float64
	}{
		{"nobody sets it", clockcheck.LearnedRTC{OffsetS: 5}, 0, 0, 0},
		{"somebody", clockcheck.LearnedRTC{Written: true}, 0.3, 0.3, 0},
		{"one reading", clockcheck.LearnedRTC{Written: true, KernelReads: 1}, 0.02, 0.3, 0},
		{"three", clockcheck.LearnedRTC{Written: true, KernelReads: 3, KernelWrites: 2, OffsetS: 0.05, KernelS: 0.15, KernelSpreadS: 0.03}, 0.13, 0.3, -2 * math.Log(0.06)},
		{"a second away", clockcheck.LearnedRTC{Written: true, KernelReads: 3, KernelWrites: 3, OffsetS: 1}, 0.3, 0.3, -3 * math.Log(0.04)},
		{"anywhere", clockcheck.LearnedRTC{Written: true, KernelReads: 9, KernelWrites: 9, KernelSpreadS: 0.7}, 0.3, 0.3, 0},
	} {
		n, f, d := slack(&tt.l)
		near(t, tt.name+": near", n, tt.near)
		near(t, tt.name+": far", f, tt.far)
		near(t, tt.name+": dearer", d, tt.dearer)
	}
	l := learned()
	l.Written, l.RateSigmaPPM, l.KernelReads, l.KernelWrites = true, 0, 2, 1
	c := New(l, 0)
	out, _ := c.Recall(at(2.25), true, 0)
	near(t, "σ at once, if it scatters", out.Scattered, math.Hypot(0.3, 0.01))
	near(t, "dearer", out.Dearer, -math.Log(0.04))
	if out.Sigma > out.Scattered {
		t.Errorf("%+v", out)
	}
}

// The kernel writes each 11 minutes: what is learned of its writes begins a minute after
// the first one must have come, and is the mean and the largest deviation of the last.
func TestLearnKernel(t *testing.T) {
	var c Clock
	c.LearnKernel(0, 9)
	c.LearnKernel(3600*second, 9) // its writes are off: not learned
	c.KernelWrites(true)
	if !c.Moved() {
		t.Error("its writes may have come before the first look")
	}
	begin := 10 * second
	c.LearnKernel(begin, 9)
	if c.Moved() {
		t.Error("looked at since the writes began")
	}
	c.LearnKernel(begin+719*second, 9)
	for i, off := range []float64{0.1, 0.3, 0.2} {
		c.LearnKernel(begin+timescale.Local(720+600*i)*second, off)
		c.LearnKernel(begin+timescale.Local(721+600*i)*second, off) // no write between the two
	}
	var l clockcheck.LearnedRTC
	c.Keep(&l)
	if !l.Written || l.KernelReads != 3 {
		t.Errorf("%+v", l)
	}
	near(t, "mean", l.KernelS, 0.2)
	near(t, "spread", l.KernelSpreadS, 0.4/3)
	for i := range 97 {
		c.LearnKernel(begin+timescale.Local(1950+i)*second, 0.2)
	}
	c.LearnKernel(begin+2100*second, 1.2)
	near(t, "a hundredth weighs as a twentieth", c.mean, 0.25)
	near(t, "the largest deviation", c.spread, 0.95)
	c.KernelWrites(true)
	if c.reads != 3 || c.all != 104 || c.Written {
		t.Errorf("the same word again: %+v", c)
	}
	c.KernelWrites(false)
	if !c.Written || !c.Moved() || c.reads != 0 || c.since != 0 {
		t.Errorf("its writes ended: %+v", c)
	}
}

// When the kernel begins to write, what is kept of a clock that was read is at once no
// longer so, and has to be saved.
func TestUrgent(t *testing.T) {
	c := New(nil, 0)
	if c.KernelWrites(true); c.Urgent {
		t.Error("never read, and urgent")
	}
	c = New(nil, 0)
	c.Take(at(0), 0)
	if c.KernelWrites(false); c.Urgent {
		t.Error("nothing changed, and urgent")
	}
	if c.KernelWrites(true); !c.Urgent {
		t.Error("not urgent")
	}
	if c.KernelWrites(true); !c.Urgent {
		t.Error("the same word again took the urgency back")
	}
}

// A clock that we set ourselves has moved, and its comparison is void; one that a
// stranger set is kept as written by others, without the kernel's part.
func TestSet(t *testing.T) {
	c := New(learned(), 0)
	if c.Moved() {
		t.Error("moved before anything")
	}
	c.Set()
	if !c.Moved() || c.Kept() != nil {
		t.Errorf("%+v", c)
	}
	c = Clock{SetSeen: true, mean: 0.2, spread: 0.1, reads: 5, all: 9}
	l := clockcheck.LearnedRTC{KernelReads: 1}
	c.Keep(&l)
	if !l.Written || l.KernelReads != 1 || l.KernelS != 0 {
		t.Errorf("%+v", l)
	}
	c.SetSeen = false
	if c.Keep(&l); l.Written || l.KernelReads != 5 {
		t.Errorf("%+v", l)
	}
}

// After the kernel's writes it is where it was, if that and the system clock are within half a
// second of UTC; after a write of ours it may be anywhere.
func TestNear(t *testing.T) {
	c := New(nil, 0)
	c.KernelWrites(true)
	c.KernelWrites(false)
	for _, tt := range []struct {
		off, system float64
		want        bool
	}{{0.4, -0.4, true}, {-0.5, 0.5, true}, {0.6, 0, false}, {0, -0.6, false}} {
		if got := c.Near(tt.off, tt.system); got != tt.want {
			t.Errorf("off by %g s, the system clock by %g s: near %v", tt.off, tt.system, got)
		}
	}
	l := clockcheck.LearnedRTC{}
	if c.Keep(&l); !l.Written {
		t.Error("not kept as written by others")
	}
	if c.Read(); c.Moved() {
		t.Error("read, and moved")
	}
	c.Set()
	if c.Near(0, 0) {
		t.Error("set by us, and near")
	}
}
