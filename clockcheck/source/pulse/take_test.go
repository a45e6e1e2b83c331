package pulse

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

func edge(at timescale.Local) *clockcheck.PPS {
	return &clockcheck.PPS{At: at, Edge: clockcheck.EdgeAssert}
}

// The states of waiting, in the order that a station meets them.
func TestWaits(t *testing.T) {
	p := New(clockcheck.EdgeUnknown)
	if _, ok := p.Take(&clockcheck.PPS{At: second}, true, 0, 1); ok || p.Heard != second || p.Waits != Nothing {
		t.Errorf("an edge of no kind: %+v", p)
	}
	for k := timescale.Local(2); k <= 5; k++ {
		if p.Take(edge(k*second), true, 0, 1); p.Waits != Comb {
			t.Errorf("after %d edges it waits for %v, want a comb", k-1, p.Waits)
		}
	}
	if p.Take(edge(6*second), false, 0, 1); p.Waits != Fix {
		t.Errorf("five edges without a fix: %v", p.Waits)
	}
	if p.Take(edge(7*second), true, 0, 1); p.Waits != Which {
		t.Errorf("with a fix, the edge untold: %v", p.Waits)
	}
	p.Recall("assert")
	if _, ok := p.Take(edge(8*second), true, 0, 1); !ok || p.Waits != Nothing {
		t.Errorf("told: passed on %v, waits %v", ok, p.Waits)
	}
	if p.Take(edge(7*second), true, 0, 1); p.Heard != 8*second {
		t.Errorf("an earlier edge after a later one: heard at %v", p.Heard)
	}
}

// What is passed on: the whole second nearest before the edge, whichever it is, with σ of
// a tenth of the jitter's variance, or the edge's own if that is more, and what is shared.
func TestReading(t *testing.T) {
	for _, tt := range []struct {
		sigma time.Duration
		want  float64
	}{
		{0, 9e-8 / 10},
		{time.Millisecond, 1e-6},
	} {
		p := New(clockcheck.EdgeAssert)
		for k := timescale.Local(1); k <= 5; k++ {
			e := edge(k*second + 123)
			e.Sigma = tt.sigma
			r, ok := p.Take(e, true, 0, 0)
			if ok != (k == 5) {
				t.Fatalf("edge %d passed on: %v", k, ok)
			}
			if ok && (r.Z != -123 || r.At != e.At || r.Modulo != 1 || r.Source != bank.Pulse || r.From != bank.SetOf(bank.Receiver) || math.Abs(r.Var-tt.want) > 1e-18 || r.Common != shared) {
				t.Errorf("%+v, want the variance %g", r, tt.want)
			}
		}
	}
}

// An edge of the other kind is never passed on where one is named.
func TestOtherEdge(t *testing.T) {
	p := New(clockcheck.EdgeClear)
	for k := timescale.Local(1); k <= 60; k++ {
		if _, ok := p.Take(edge(k*second), true, 0, 1); ok {
			t.Fatal("passed on")
		}
	}
}

// Recall takes a named edge only, and only where the settings name none; Gone keeps it.
func TestRecall(t *testing.T) {
	p := New(clockcheck.EdgeAssert)
	if p.Recall("clear"); p.Edge() != "" || p.edge != clockcheck.EdgeAssert {
		t.Errorf("the settings' edge gave way to %q", p.edge)
	}
	p = New(clockcheck.EdgeUnknown)
	if p.Recall("sideways"); p.Edge() != "" || p.edge != clockcheck.EdgeUnknown {
		t.Errorf("learned %q", p.edge)
	}
	p.Recall("clear")
	p.Take(&clockcheck.PPS{At: second, Edge: clockcheck.EdgeClear}, true, 0, 0)
	if p.Gone("No device."); p.Edge() != "clear" || p.Why != "No device." || p.Heard != 0 {
		t.Errorf("%+v", p)
	}
	for k := timescale.Local(1); k < 5; k++ { // the comb begins again
		if _, ok := p.Take(&clockcheck.PPS{At: (100 + k) * second, Edge: clockcheck.EdgeClear}, true, 0, 0); ok {
			t.Error("passed on before its comb")
		}
	}
}

// Of ten edges one is passed on: fresh until twenty seconds after it, while edges come.
func TestFresh(t *testing.T) {
	p := New(clockcheck.EdgeAssert)
	if p.Fresh(0) {
		t.Error("fresh before anything")
	}
	for k := timescale.Local(1); k <= 5; k++ {
		p.Take(edge(k*second), true, 0, 0)
	}
	for _, tt := range []struct {
		now  timescale.Local
		want bool
	}{{5 * second, true}, {10*second - 1, true}, {10 * second, false}} {
		if got := p.Fresh(tt.now); got != tt.want {
			t.Errorf("at %v: fresh %v", tt.now, got)
		}
	}
	for k := timescale.Local(6); k <= 30; k++ { // edges, but no fix
		p.Take(edge(k*second), false, 0, 0)
	}
	if !p.Fresh(25*second-1) || p.Fresh(25*second) {
		t.Error("the last that was passed on is fresh for 20 s")
	}
}

// The comb holds over a hole of whole seconds, up to five minutes, within 1 ms and 150 ppm;
// any other edge is spurious, and begins a comb after more than 3 s.
func TestContinues(t *testing.T) {
	const ms = timescale.Local(1e6)
	for _, tt := range []struct {
		after timescale.Local
		want  bool
		run   int
	}{
		{second, true, 3}, {second + ms, true, 3}, {second + 2*ms, false, 2}, {second - 2*ms, false, 2},
		{100*second + 15*ms, true, 3}, {100*second + 17*ms, false, 1},
		{300 * second, true, 3}, {301 * second, false, 1},
		{3*second + 500*ms, false, 1}, {2*second + 500*ms, false, 2}, {3*second + 5*ms, false, 1}, {0, false, 2}, {second / 4, false, 2},
	} {
		c := comb{at: 7 * second, run: 2}
		if _, got := c.take(7*second + tt.after); got != tt.want || c.run != tt.run {
			t.Errorf("after %v: continues %v with a run of %d, want %v, %d", time.Duration(tt.after), got, c.run, tt.want, tt.run)
		}
		if tt.want && c.at != 7*second+tt.after {
			t.Errorf("after %v: the comb still stands at %v", time.Duration(tt.after), c.at)
		}
	}
	var c comb
	if _, ok := c.take(second); ok || c.run != 1 || c.at != second {
		t.Errorf("the first edge: %+v", c)
	}
}

// More than eight spurious edges, less a quarter for each good one, and the line is no
// pulse until they are made up for.
func TestOften(t *testing.T) {
	var p Pulse
	for range 8 {
		p.count(false)
	}
	if p.Often {
		t.Error("eight are too many")
	}
	if p.count(false); !p.Often {
		t.Error("nine are a pulse")
	}
	for range 20 {
		p.count(false) // no more than sixteen are held against it
	}
	for range 63 {
		p.count(true)
	}
	if !p.Often {
		t.Error("63 good edges make up for sixteen spurious ones")
	}
	if p.count(true); p.Often {
		t.Error("64 do not")
	}
	p.count(true)
	for range 8 {
		p.count(false)
	}
	if p.Often {
		t.Error("good edges in plenty were credited")
	}
}

// An edge kind is learned when thirty in a row of it can be the second and thirty of the
// other cannot; one exception begins the count again.
func TestLearn(t *testing.T) {
	for _, tt := range []struct {
		name      string
		can, cant int
		spoil     bool
		want      string
	}{
		{"thirty and thirty", 30, 30, false, "assert"},
		{"29 that can", 29, 30, false, ""},
		{"29 that cannot", 30, 29, false, ""},
		{"an exception", 40, 40, true, ""},
	} {
		p := New(clockcheck.EdgeUnknown)
		for range tt.cant {
			p.learn(clockcheck.EdgeClear, false)
		}
		if tt.spoil {
			p.learn(clockcheck.EdgeClear, true)
		}
		for range tt.can {
			p.learn(clockcheck.EdgeAssert, true)
		}
		if p.Edge() != tt.want {
			t.Errorf("%s: learned %q, want %q", tt.name, p.Edge(), tt.want)
		}
	}
	p := New(clockcheck.EdgeUnknown)
	p.learn(clockcheck.EdgeAssert, false)
	p.learn(clockcheck.EdgeAssert, true)
	if p.fits != [2]int{0, 0} {
		t.Errorf("%v", p.fits)
	}
	if p.learn(clockcheck.EdgeAssert, true); p.fits[0] != 1 {
		t.Errorf("%v", p.fits)
	}
}

// Where the guard just reaches the edge it can be the second, on either side.
func TestCanBe(t *testing.T) {
	for near, want := range map[float64]int{0.05: 1, -0.05: 1, 0.051: -1, -0.051: -1} {
		p := New(clockcheck.EdgeUnknown)
		for k := timescale.Local(1); k <= 5; k++ {
			p.Take(edge(k*second), true, near, 0.05)
		}
		if p.fits[0] != want {
			t.Errorf("at %v: %v, want %v", near, p.fits[0], want)
		}
	}
}
