package rtc_test

import (
	"context"
	"errors"
	"fmt"
	"syscall"
	"testing"
	"time"

	"pgregory.net/rapid"

	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
	"noonmark/rtc/rtctest"
)

const start = timescale.UTC(1_900_000_000 * timescale.Second)

// world is virtual time with a local oscillator of its own and a count of
// wake-ups. late is what every wait overshoots by.
type world struct {
	now   timescale.UTC
	ppm   float64
	late  time.Duration
	wakes int
	open  int
	opens int
	hook  func() // at each wait in the device
}

func (w *world) True() timescale.UTC  { return w.now }
func (w *world) Pass(d time.Duration) { w.now = w.now.Add(d) }

func (w *world) local(u timescale.UTC) timescale.Local {
	d := u.Sub(start)
	return timescale.Local(7 * timescale.Second).Add(d + time.Duration(float64(d)*w.ppm*1e-6))
}

func (w *world) sleep(ctx context.Context, d time.Duration) error {
	w.wakes++
	w.Pass(d + w.late)
	return ctx.Err()
}

// counted counts what a device costs, and that one is open at most once.
type counted struct {
	rtc.Device
	w *world
}

func (c counted) Wait(d time.Duration) (bool, error) {
	c.w.wakes++
	if c.w.hook != nil {
		c.w.hook()
	}
	up, err := c.Device.Wait(d)
	c.w.Pass(c.w.late)
	return up, err
}

func (c counted) Close() error { c.w.open--; return c.Device.Close() }

func (w *world) clock(sim *rtctest.Clock) *rtc.Clock {
	return rtc.New(func() (rtc.Device, error) {
		if w.open++; w.open != 1 {
			return nil, fmt.Errorf("%w: %d openers", rtc.ErrBusy, w.open)
		}
		w.opens++
		return counted{rtctest.NewDevice(sim, w), w}, nil
	}, func() timescale.Local { return w.local(w.now) }, w.sleep)
}

// The law: the true edge lies within the bracket and begins the second named.
func checkReading(t interface{ Fatalf(string, ...any) }, w *world, sim *rtctest.Clock, r rtc.Reading, from timescale.UTC) {
	// The simulation cannot be asked about the past: rebuild the edge from the
	// next one, at the rate that one second shows.
	at, shows, ok := sim.NextEdge(w.now)
	if !ok {
		t.Fatalf("the simulated clock stands still")
	}
	at2, _, _ := sim.NextEdge(at)
	back := shows.Sub(r.Value) / time.Second
	edge := at.Add(-back * at2.Sub(at))
	if back < 1 || edge < from.Add(-time.Second) {
		t.Fatalf("reading names %v, next edge begins %v", r.Value.Time(), shows.Time())
	}
	if d := w.local(edge).Sub(r.Edge).Abs(); d > r.Half+time.Microsecond {
		t.Fatalf("true edge %v from the middle of a bracket of ±%v", d, r.Half)
	}
}

func TestReadEdgeLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := &world{now: start, ppm: rapid.Float64Range(-60, 60).Draw(t, "local ppm"),
			late: time.Duration(rapid.Int64Range(0, 3e6).Draw(t, "late"))}
		sim := rtctest.New(rtctest.Model{
			PPM:            rapid.Float64Range(-150, 30).Draw(t, "rtc ppm"),
			ReadTime:       time.Duration(rapid.Int64Range(0, 3e6).Draw(t, "read time")),
			HasInterrupt:   rapid.Bool().Draw(t, "interrupt"),
			InterruptDelay: time.Duration(rapid.Int64Range(0, 20e6).Draw(t, "interrupt delay")),
		}, rapid.Uint64().Draw(t, "seed"), start, start)
		c := w.clock(sim)
		for range rapid.IntRange(1, 6).Draw(t, "readings") {
			from := w.now
			want := time.Duration(rapid.Int64Range(5e5, 1e8).Draw(t, "want"))
			r, err := c.ReadEdge(t.Context(), want)
			if err != nil {
				t.Fatal(err)
			}
			checkReading(t, w, sim, r, from)
			if cost := sim2cost(w); r.Half > want && r.Half > cost {
				t.Fatalf("±%v, wanted ±%v, and the clock could be read to ±%v", r.Half, want, cost)
			}
			if w.open != 0 {
				t.Fatal("left open")
			}
			if rapid.Bool().Draw(t, "another program sets it") {
				sim.Set(w.now, w.now.Add(time.Duration(rapid.Int64Range(-5e9, 5e9).Draw(t, "to"))))
			}
			w.Pass(time.Duration(rapid.Int64Range(0, 900e9).Draw(t, "pause")))
		}
	})
}

// sim2cost is a generous bound of what any reader could reach: the step, a
// read on each side, the lateness of the wait.
func sim2cost(w *world) time.Duration { return 5*time.Millisecond + w.late }

// Figures of the issue: few wake-ups, the clock held shortly.
func TestReadEdgeCost(t *testing.T) {
	for _, tc := range []struct {
		name          string
		interrupt     bool
		first, steady int // wake-ups
	}{{"polled", false, 45, 20}, {"interrupt", true, 25, 20}} {
		t.Run(tc.name, func(t *testing.T) {
			w := &world{now: start, ppm: 20, late: 60 * time.Microsecond}
			sim := rtctest.New(rtctest.Model{PPM: -25, ReadTime: time.Millisecond, HasInterrupt: tc.interrupt}, 3, start, start)
			c := w.clock(sim)
			r, err := c.ReadEdge(t.Context(), 100*time.Millisecond)
			if err != nil || w.now.Sub(start) > 1200*time.Millisecond {
				t.Fatalf("first reading %+v after %v: %v", r, w.now.Sub(start), err)
			}
			r, err = c.ReadEdge(t.Context(), 2*time.Millisecond)
			t.Logf("first: ±%v, %d wake-ups, %v", r.Half, w.wakes, w.now.Sub(start))
			if err != nil || r.Half > 2*time.Millisecond || w.wakes > tc.first || float64(w.wakes) > 15*w.now.Sub(start).Seconds() {
				t.Errorf("first: %+v, %d wake-ups in %v, %v", r, w.wakes, w.now.Sub(start), err)
			}
			w.Pass(64 * time.Second)
			w.wakes, w.opens = 0, 0
			r, err = c.ReadEdge(t.Context(), 2*time.Millisecond)
			t.Logf("after 64 s: ±%v, %d wake-ups, %d opens", r.Half, w.wakes, w.opens)
			if err != nil || r.Half > 2*time.Millisecond || w.wakes > tc.steady {
				t.Errorf("after 64 s: %+v, %d wake-ups, %v", r, w.wakes, err)
			}
		})
	}
}

func TestReadEdgeFaults(t *testing.T) {
	fresh := func(m rtctest.Model) (*world, *rtctest.Clock) {
		return &world{now: start}, rtctest.New(m, 1, start, start)
	}
	outage := func(w *world, sim *rtctest.Clock) {
		sim.SetBattery(w.now, rtctest.BatteryDead)
		sim.Power(w.now, false)
		w.Pass(time.Hour)
		sim.Power(w.now, true)
	}
	t.Run("bad: oscillator stopped, driver refuses", func(t *testing.T) {
		w, sim := fresh(rtctest.Model{InvalidFails: true})
		outage(w, sim)
		r, err := w.clock(sim).ReadEdge(t.Context(), time.Millisecond)
		if !errors.Is(err, rtc.ErrInvalid) || r.Flags != rtc.DataInvalid || !r.FlagsKnown || w.open != 0 {
			t.Errorf("%+v, %v, open %d", r, err, w.open)
		}
	})
	t.Run("bad: oscillator stopped, driver answers", func(t *testing.T) {
		w, sim := fresh(rtctest.Model{HasFlags: true, ResetTo: timescale.UTC(946684800 * timescale.Second)})
		outage(w, sim)
		r, err := w.clock(sim).ReadEdge(t.Context(), time.Millisecond)
		if err != nil || r.Flags != rtc.DataInvalid|rtc.BackupEmpty || r.Value.Time().Year() != 2000 {
			t.Errorf("%+v, %v", r, err)
		}
	})
	t.Run("bad: stands still", func(t *testing.T) {
		w, sim := fresh(rtctest.Model{PPM: -999_999.9})
		if r, err := w.clock(sim).ReadEdge(t.Context(), time.Millisecond); err == nil {
			t.Errorf("reading %+v of a clock that stands still", r)
		}
	})
	t.Run("bad: bus fault", func(t *testing.T) {
		w, sim := fresh(rtctest.Model{})
		sim.Power(w.now, false)
		if _, err := w.clock(sim).ReadEdge(t.Context(), time.Millisecond); !errors.Is(err, syscall.EIO) {
			t.Errorf("%v", err)
		}
	})
	t.Run("bad: busy", func(t *testing.T) {
		w, sim := fresh(rtctest.Model{})
		w.open = 1
		if _, err := w.clock(sim).ReadEdge(t.Context(), time.Millisecond); !errors.Is(err, rtc.ErrBusy) {
			t.Errorf("%v", err)
		}
	})
	t.Run("bad: called off", func(t *testing.T) {
		w, sim := fresh(rtctest.Model{})
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if _, err := w.clock(sim).ReadEdge(ctx, time.Millisecond); !errors.Is(err, context.Canceled) {
			t.Errorf("%v", err)
		}
	})
	t.Run("bad: set while looked at", func(t *testing.T) {
		for _, by := range []time.Duration{2 * time.Second, -time.Second, time.Hour} {
			w, sim := fresh(rtctest.Model{})
			w.hook = func() {
				if w.wakes == 3 {
					sim.Set(w.now, w.now.Add(by))
				}
			}
			r, err := w.clock(sim).ReadEdge(t.Context(), 100*time.Millisecond)
			if err != nil {
				t.Fatal(err)
			}
			checkReading(t, w, sim, r, start)
		}
	})
	t.Run("held up for long", func(t *testing.T) {
		w, sim := fresh(rtctest.Model{})
		w.late = 700 * time.Millisecond
		r, err := w.clock(sim).ReadEdge(t.Context(), time.Millisecond)
		if err != nil || r.Half < 100*time.Millisecond {
			t.Errorf("%+v, %v", r, err)
		}
		checkReading(t, w, sim, r, start)
	})
	t.Run("slept: the local timescale stood still", func(t *testing.T) {
		w, sim := fresh(rtctest.Model{ReadTime: time.Millisecond})
		var asleep time.Duration
		dev := func() (rtc.Device, error) { return rtctest.NewDevice(sim, w), nil }
		c := rtc.New(dev, func() timescale.Local { return w.local(w.now).Add(-asleep) }, w.sleep)
		if _, err := c.ReadEdge(t.Context(), time.Millisecond); err != nil {
			t.Fatal(err)
		}
		asleep = 12345678901 * time.Nanosecond
		w.Pass(asleep)
		from := w.now
		r, err := c.ReadEdge(t.Context(), 2*time.Millisecond)
		if err != nil {
			t.Fatal(err)
		}
		r.Edge = r.Edge.Add(asleep)
		checkReading(t, w, sim, r, from)
	})
}

// Three passes in a row that bring nothing end the search; a pass that brings something
// starts the count again.
func TestProgressStartsTheCountAgain(t *testing.T) {
	w := &world{now: start}
	late := []time.Duration{0, 40, 60, 60, 10, 60, 0} // ±69, 31, 41, 41, 8, 41, 1 ms
	w.hook = func() { w.late = late[min(w.opens, len(late))-1] * time.Millisecond }
	r, err := w.clock(rtctest.New(rtctest.Model{}, 1, start, start)).ReadEdge(t.Context(), 5*time.Millisecond)
	if err != nil || r.Half > 5*time.Millisecond {
		t.Errorf("±%v after %d passes, %v", r.Half, w.opens, err)
	}
	w = &world{now: start}
	w.hook = func() { w.late = 60 * time.Millisecond }
	if r, err := w.clock(rtctest.New(rtctest.Model{}, 1, start, start)).ReadEdge(t.Context(), 5*time.Millisecond); err != nil || w.opens > 6 {
		t.Errorf("±%v after %d passes, %v", r.Half, w.opens, err)
	}
}
