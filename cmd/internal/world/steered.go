package world

import (
	"time"

	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/steer/steertest"
	"noonmark/clockcheck/timescale"
)

// kernel is the system clock where the station steers it: simulated, with the
// kernel's own writes of the hardware clock.
type kernel struct {
	*steertest.Clock
	order    *steer.RTCOrder // waits for its instant
	rtcSets  int             // by the station
	nextSync timescale.UTC   // the kernel's own next write; 0 = none due
}

// The kernel's own writes (kernel/time/ntp.c of Linux 6.1): every 11 minutes, and it
// takes a chip to begin its second 1.005 s after a write.
const (
	syncEvery = 11 * time.Minute
	syncTick  = 1005 * time.Millisecond
)

// startKernel gives the machine that boots a kernel to be steered, if it is.
func (w *World) startKernel() {
	if w.cfg.Steer != nil {
		w.kernel = &kernel{Clock: steertest.New(w.local, w.utc.Add(time.Duration(w.system)))}
	}
}

// startSteering hands the program what was learned of the steering. An order that the
// program before it left is lost with it; the kernel goes on as it was.
func (w *World) startSteering() {
	if w.cfg.Steer == nil {
		return
	}
	cfg := *w.cfg.Steer
	cfg.Learned = w.kept.steering
	w.cfg.Steer, w.kernel.order = &cfg, nil
}

// setSystem moves the system clock, by whomever, so that its error is ns.
func (w *World) setSystem(ns float64) {
	if w.kernel != nil && ns != w.system {
		w.kernel.Step(w.local, w.utc.Add(time.Duration(ns)).Sub(w.kernel.System(w.local)))
	}
	w.system = ns
}

// run lets the system clock run on to the present: free, it gains what the oscillator
// gains.
func (w *World) run(gained float64) {
	if w.kernel == nil {
		w.system += gained
		return
	}
	w.system = float64(w.kernel.System(w.local).Sub(w.utc))
}

// slew lets another program change the system clock's rate, and turn it.
func (w *World) slew(c *Chapter) {
	if c.Slew != nil && w.kernel == nil {
		w.slewPPM = *c.Slew
	}
	if w.kernel == nil {
		w.system += float64(c.Turn) // without a kernel of its own the turn comes at once
		return
	}
	if c.Slew != nil {
		w.kernel.Tamper(w.local, steertest.Tamper{FreqPPM: c.Slew})
	}
	if c.Turn != 0 {
		w.kernel.Tamper(w.local, steertest.Tamper{Slew: &c.Turn})
	}
}

func (w *World) readKernel() *steer.Kernel {
	if w.kernel == nil {
		return nil
	}
	k := w.kernel.Kernel(w.local)
	return &k
}

// steer does what the station wants done, as the service does, and tells whether that
// moved the clock.
func (w *World) steer() (stepped bool) {
	if w.kernel == nil {
		return false
	}
	a := w.Station.Actions()
	if a.Any() {
		w.Station.Done(w.local, w.kernel.Apply(w.local, a))
		w.run(0)
	}
	if a.SetRTC != nil {
		o := *a.SetRTC
		w.kernel.order = &o
	}
	return a.Step != 0
}

// writeRTC lets the station's order and the kernel's own write come when their time
// has come, within the second that ends now.
func (w *World) writeRTC() {
	k := w.kernel
	if k == nil || w.s.NoRTC {
		return
	}
	if k.order != nil && k.order.At <= w.local {
		at := w.utc.Add(k.order.At.Sub(w.local))
		w.rtc.Set(at, k.order.Value.Add(-w.s.RTC.Zone)) // the chip takes what it is given
		w.Station.RTCWritten(k.order.At, k.order.At.Add(time.Millisecond), nil)
		k.order, k.rtcSets, w.nextRTC = nil, k.rtcSets+1, w.local.Add(w.rtcPace.Set())
		w.save()
	}
	switch unsync := k.Kernel(w.local).Bits&steer.BitUnsync != 0; {
	case unsync:
		k.nextSync = 0
	case k.nextSync == 0:
		k.nextSync = w.utc.Add(time.Second)
	case w.utc >= k.nextSync:
		k.nextSync = w.utc.Add(syncEvery)
		shown := k.System(w.local)
		tick := (shown/timescale.UTC(timescale.Second) + 1) * timescale.UTC(timescale.Second)
		write := tick.Add(-syncTick) // in the past: a second of the kernel's ends in this one
		w.rtc.Set(w.utc.Add(write.Sub(shown)), tick.Add(-time.Second))
	}
}

// RTCSets is how often the station set the hardware clock since boot.
func (w *World) RTCSets() int {
	if w.kernel == nil {
		return 0
	}
	return w.kernel.rtcSets
}

// Steps is how often anybody stepped the system clock since boot.
func (w *World) Steps() int {
	if w.kernel == nil {
		return 0
	}
	return w.kernel.Steps
}
