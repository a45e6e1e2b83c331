package rtc_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
	"noonmark/rtc/rtctest"
)

func TestSetBad(t *testing.T) {
	for _, row := range []struct {
		name string
		late time.Duration
		ctx  func() context.Context
		want error
	}{
		{"the computer was busy", 60 * time.Millisecond, t.Context, rtc.ErrLate},
		{"the program ends", 0, func() context.Context {
			ctx, stop := context.WithCancel(context.Background())
			stop()
			return ctx
		}, context.Canceled},
	} {
		w := &world{now: start, late: row.late}
		sim := rtctest.New(rtctest.Model{FirstTick: time.Second}, 1, start, start.Add(time.Hour))
		before, _ := sim.At(w.now.Add(10 * time.Second))
		from, to, err := w.clock(sim).Set(row.ctx(), w.local(start.Add(3*time.Second)), start)
		if !errors.Is(err, row.want) {
			t.Errorf("%s: %v", row.name, err)
		}
		if after, _ := sim.At(start.Add(10 * time.Second)); after != before {
			t.Errorf("%s: written all the same", row.name)
		}
		if w.open != 0 {
			t.Errorf("%s: %d left open", row.name, w.open)
		}
		if row.want == context.Canceled && from != 0 || to != w.local(w.now) {
			t.Errorf("%s: said to be written between %d and %d", row.name, from, to)
		}
	}
	w := &world{now: start}
	c := rtc.New(func() (rtc.Device, error) { return nil, rtc.ErrBusy }, func() timescale.Local { return w.local(w.now) }, w.sleep)
	if before, after, err := c.Set(t.Context(), w.local(start.Add(time.Second)), start); !errors.Is(err, rtc.ErrBusy) || before != 0 || after != w.local(w.now) {
		t.Errorf("busy: %d, %d, %v", before, after, err)
	}
}

// After a setting the edge lies elsewhere: it is searched at once, not waited for where it was.
func TestSetForgetsThePhase(t *testing.T) {
	w := &world{now: start}
	sim := rtctest.New(rtctest.Model{FirstTick: 508 * time.Millisecond}, 1, start, start)
	c := w.clock(sim)
	if _, err := c.ReadEdge(t.Context(), 2*time.Millisecond); err != nil {
		t.Fatal(err)
	}
	if _, _, err := c.Set(t.Context(), w.local(w.now.Add(300*time.Millisecond)), start.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	begin := w.now
	if _, err := c.ReadEdge(t.Context(), 100*time.Millisecond); err != nil || w.now.Sub(begin) > 700*time.Millisecond {
		t.Errorf("the edge was found after %v, %v", w.now.Sub(begin), err)
	}
}

// Law: the write happens between the two instants given back, and these lie near the
// instant asked for; the clock is read again on its new edge.
func TestSetLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := &world{now: start, ppm: rapid.Float64Range(-60, 60).Draw(t, "local ppm"),
			late: time.Duration(rapid.Int64Range(0, 3e6).Draw(t, "late"))}
		first := rapid.SampledFrom([]time.Duration{time.Second, 500 * time.Millisecond, 508 * time.Millisecond}).Draw(t, "first tick")
		sim := rtctest.New(rtctest.Model{FirstTick: first, ReadTime: time.Duration(rapid.Int64Range(0, 3e6).Draw(t, "read time"))},
			1, start, start.Add(time.Duration(rapid.Int64Range(-1e12, 1e12).Draw(t, "off"))))
		c := w.clock(sim)
		if rapid.Bool().Draw(t, "read before") {
			if _, err := c.ReadEdge(t.Context(), 5*time.Millisecond); err != nil {
				t.Fatal(err)
			}
		}
		at := w.local(w.now.Add(time.Duration(rapid.Int64Range(0, 3e9).Draw(t, "wait"))))
		value := start.Add(12345 * time.Second)
		before, after, err := c.Set(t.Context(), at, value)
		if err != nil {
			t.Fatal(err)
		}
		if before < at-2000 || after < before || after.Sub(at) > 10*time.Millisecond {
			t.Fatalf("asked for %d, wrote between %v and %v after it", at, before.Sub(at), after.Sub(at))
		}
		r, err := c.ReadEdge(t.Context(), 5*time.Millisecond)
		if err != nil {
			t.Fatal(err)
		}
		n := r.Value.Sub(value.Add(time.Second))
		if d := (r.Edge.Sub(after) - n - first).Abs(); d > after.Sub(before)+r.Half+time.Millisecond {
			t.Fatalf("the first tick came %v after the write, not %v", r.Edge.Sub(after)-n, first)
		}
	})
}
