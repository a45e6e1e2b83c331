package world

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
)

// down kills the program, or ends it. What the receiver sends meanwhile waits in the
// port's buffer, which keeps the oldest, and is read at once when the port is opened again.
func (w *World) down(c *Chapter) {
	if c.Stopped {
		w.save()
	}
	w.forget(c)
	var waits []byte
	for end := w.utc.Add(c.Down); w.utc < end; w.to(w.utc.Add(time.Second)) {
		for _, b := range w.rx.Emit(w.nextSecond(), w.s.Place, c.Scene) {
			waits = append(waits, b.Bytes...)
		}
	}
	w.startProgram()
	if w.s.NoReceiver {
		return
	}
	if w.open(c.Scene); w.opened {
		w.Station.Bytes(waits[:min(len(waits), portBuffer)], station.Read{At: w.local})
	}
}

// forget is what becomes of the state file.
func (w *World) forget(c *Chapter) {
	switch {
	case c.Forget:
		w.kept.learned, w.kept.steering, w.kept.place, w.kept.former = clockcheck.Learned{}, steer.Learned{}, nil, nil
	case c.Former && w.kept.former != nil:
		w.kept.learned = *w.kept.former
	}
}

// mark is made on the whole minute before, or with a clock that is there now.
func (w *World) mark(m *Mark) {
	if m.Borrowed {
		says := w.utc.Add(-m.Error)
		if m.OurOwn { // it says what this station thinks
			says = says.Add(time.Duration(w.system - w.said*1e9))
		}
		w.Station.Mark(clockcheck.Mark{At: w.local, UTC: says, Bound: m.Bound, Borrowed: true, OurOwn: m.OurOwn})
		return
	}
	minute := w.utc / timescale.UTC(60*timescale.Second) * timescale.UTC(60*timescale.Second)
	w.Station.Mark(clockcheck.Mark{At: w.local.Add(minute.Sub(w.utc) + m.Error), Bound: m.Bound})
}

// sleep suspends the computer: the local timescale stands still, the receiver
// goes on unheard, and the kernel takes the system clock up again from the
// hardware clock, which shows whole seconds.
func (w *World) sleep(d time.Duration) {
	w.line = nil
	w.pass(d)
	w.asleep += d
	w.nextRTC = w.local.Add(w.rtcPace.Woke() + 1500*time.Millisecond) // after the tick that notices it
	w.setSystem(w.system + (w.rng.Float64()-0.5)*1e9)
}

// off cuts the power and boots again. The kernel then sets the system clock to
// the hardware clock's second + 0.5 s (drivers/rtc/class.c), or leaves it at 1970.
func (w *World) off(c *Chapter) {
	if !c.Cut {
		w.save()
	}
	w.forget(c)
	w.rtc.Power(w.utc, false)
	w.pass(c.Off)
	w.rtc.Power(w.utc, true)
	w.system = -float64(w.utc)
	if shows, ok := w.shows(); ok {
		w.system = float64(shows.Add(500 * time.Millisecond).Sub(w.utc))
	}
	w.powered = w.utc
	w.boot()
}
