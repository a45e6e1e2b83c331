package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/keep"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/port"
	"noonmark/rtc"
	"noonmark/status"
)

// How often the loop does what.
const (
	tickEvery   = time.Second
	saveEvery   = time.Hour // SD cards wear
	kernelEvery = 10 * time.Second
	stepsPause  = 100 * time.Millisecond // between two looks at steps of the clock
)

// service is the one owner of the station: everything reaches it as an event,
// and the loop in run is the only place that touches it.
type service struct {
	log      *slog.Logger
	station  *station.Station
	kept     keep.State
	stateDir string // "" = nothing is kept
	publish  *status.Publisher
	events   chan func()
	ready    bool
	watchdog time.Duration
	lastSaid string
	saved    timescale.Local
	asked    timescale.Local // the kernel
	said     map[string]string
}

// receiverEvent brings what the port says into the loop.
func (s *service) receiverEvent(e port.Event) {
	e.Data = append([]byte(nil), e.Data...) // the port uses its buffer again
	s.events <- func() { s.takeReceiver(e) }
}

func (s *service) takeReceiver(e port.Event) {
	switch e.Kind {
	case port.Data:
		s.station.Bytes(e.Data, station.Read{At: e.At, Flowing: e.Quiet == 0, Stale: e.Stale})
	case port.Opened:
		s.station.Opened(station.Source{Device: e.Path, Identity: identity(e.Identity, e.Path), Baud: e.Baud, Relay: relayed(e.Path)}, e.At)
		s.log.Info("receiver opened", "device", e.Path)
	case port.Heard:
		s.station.Speed(e.Baud)
		if e.Identity != (port.Identity{}) && e.Identity != s.kept.Receiver {
			s.kept.Receiver = e.Identity
			s.save(e.At)
		}
		s.log.Info("receiver heard", "device", e.Path, "baud", e.Baud)
	case port.Waiting, port.Refused:
		s.station.Lost(e.Reason, e.At)
		s.warn("receiver", e.Reason)
	case port.Lost:
		s.station.Lost(e.Reason, e.At)
		s.log.Warn("receiver lost", "reason", e.Reason)
	}
}

// warn logs a reason once, not at each try.
func (s *service) warn(about, reason string) {
	if s.said[about] != reason {
		s.said[about] = reason
		s.log.Warn(about, "reason", reason)
	}
}

func identity(id port.Identity, path string) string {
	if id.VID == "" {
		return path
	}
	return fmt.Sprintf("usb %s:%s %s %s", id.VID, id.PID, id.Serial, id.Part)
}

func relayed(path string) bool {
	return len(path) > 6 && (path[:6] == "tcp://" || path[:6] == "udp://")
}

// run owns the station until ctx ends.
func (s *service) run(ctx context.Context) error {
	tick := time.NewTicker(tickEvery)
	defer tick.Stop()
	s.tick()
	for {
		select {
		case <-ctx.Done():
			daemon.SdNotify(false, daemon.SdNotifyStopping)
			s.save(hostclock.Now())
			return nil
		case f := <-s.events:
			f()
		case <-tick.C:
			s.tick()
		}
	}
}

// tick judges, publishes and tells the service manager.
func (s *service) tick() {
	p := hostclock.Sample()
	if s.asked == 0 || p.Local.Sub(s.asked) >= kernelEvery {
		s.asked = p.Local
		if k, err := hostclock.KernelStatus(); err == nil {
			s.station.KernelWritesRTC(!k.Unsync)
		}
	}
	snap := s.station.Tick(station.Tick{Local: p.Local, System: p.System, BoottimeS: p.Boottime.Seconds(),
		AsleepS: p.SuspendOffset.Seconds()})
	if err := s.publish.Publish(snap); err != nil {
		s.warn("status", err.Error())
	}
	s.tell(snap)
	if s.saved == 0 {
		s.saved = p.Local
	}
	if p.Local.Sub(s.saved) >= saveEvery {
		s.save(p.Local)
	}
}

// tell logs changes and notifies the service manager.
func (s *service) tell(snap *status.Snapshot) {
	head := snap.Clock.Basis
	for _, m := range snap.Modes {
		head += " " + m.Mode + "=" + m.Verdict
	}
	message := daemon.SdNotifyWatchdog
	if s.watchdog == 0 {
		message = ""
	}
	if !s.ready {
		message += "\n" + daemon.SdNotifyReady
		s.ready = true
	}
	if head != s.lastSaid {
		s.lastSaid = head
		message += "\nSTATUS=" + snap.Clock.Because
		s.log.Info("verdict", "clock", head, "because", snap.Clock.Because)
	}
	if message != "" {
		if _, err := daemon.SdNotify(false, message); err != nil {
			s.warn("service manager", err.Error())
		}
	}
}

// save keeps what was learned, if there is somewhere to keep it.
func (s *service) save(now timescale.Local) {
	s.saved = now
	if s.stateDir == "" {
		return
	}
	s.kept.Learned = s.station.Learned()
	if err := keep.Save(s.stateDir, s.kept); err != nil {
		s.warn("learned state", err.Error())
	}
}

// watchRTC reads the hardware clock's edge now and then: roughly at once, for a
// station must know the time at boot, then finely, then rarely.
func (s *service) watchRTC(ctx context.Context, path string) {
	clock := rtc.New(func() (rtc.Device, error) { return rtc.Open(path) }, hostclock.Now, sleep)
	for n := 0; ctx.Err() == nil; n++ {
		want, pause := 2*time.Millisecond, 10*time.Minute
		switch {
		case n == 0:
			want, pause = 100*time.Millisecond, time.Second
		case n < 10:
			pause = time.Minute
		}
		r, err := clock.ReadEdge(ctx, want)
		if ctx.Err() != nil {
			return
		}
		s.events <- func() { s.takeRTC(r, err) }
		if sleep(ctx, pause) != nil {
			return
		}
	}
}

func (s *service) takeRTC(r rtc.Reading, err error) {
	switch {
	case err == nil:
		s.station.RTC(r)
	case errors.Is(err, rtc.ErrInvalid):
		s.station.RTCInvalid(hostclock.Now())
		s.warn("hardware clock", err.Error())
	default:
		s.station.RTCMissing(rtcReason(err))
		s.warn("hardware clock", err.Error())
	}
}

// rtcReason is a sentence with the remedy.
func rtcReason(err error) string {
	switch {
	case errors.Is(err, rtc.ErrDenied):
		return "The hardware clock may not be opened: run noonmark as its service, or give this user the right to /dev/rtc0."
	case errors.Is(err, rtc.ErrBusy):
		return "Another program holds the hardware clock open: stop it."
	case errors.Is(err, rtc.ErrAbsent):
		return "This computer has no hardware clock: after power-off the time is lost until satellites or a network give it."
	}
	return "The hardware clock cannot be read: " + err.Error() + "."
}

// findRTC picks the device: the one the kernel took its time from comes first.
func findRTC(configured string) (string, error) {
	if configured != "auto" {
		return configured, nil
	}
	all, err := rtc.Find(os.DirFS("/sys"))
	if err != nil {
		return "", err
	}
	return all[0].Path, nil
}

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

// watchSteps has the clock judged at once when anything steps it.
func (s *service) watchSteps(ctx context.Context) {
	err := hostclock.WatchSteps(ctx, func() {
		s.events <- s.tick
		sleep(ctx, stepsPause)
	})
	if err != nil {
		s.log.Warn("steps of the clock are seen only once a second", "reason", err)
	}
}

func (s *service) network(r netref.Reading) {
	s.events <- func() { s.station.Network(r) }
}
