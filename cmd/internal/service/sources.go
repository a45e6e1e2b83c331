package service

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/steer"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/sleep"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/port"
	"noonmark/rtc"
)

// fewServers are those that the judge can hear.
func (s *service) fewServers(all []string) []string {
	if n := clockcheck.MaxServers; len(all) > n {
		s.warn("time servers", fmt.Sprintf("%d are named, and the first %d are asked; not asked: %s", len(all), n, strings.Join(all[n:], ", ")))
		return all[:n]
	}
	return all
}

func (s *service) networkProblem(p netref.Problem) {
	s.events <- func() { s.warn("time server "+p.Server, p.Reason) }
}

// receiverEvent brings what the port says into the loop.
func (s *service) receiverEvent(e port.Event) {
	if s.sharer != nil {
		switch {
		case e.Kind == port.Opened:
			s.sharer.Opened()
		case e.Kind == port.Data && !e.Stale: // what had been waiting would be taken for now
			s.sharer.Bytes(e.Data)
		}
	}
	e.Data = append([]byte(nil), e.Data...) // the port uses its buffer again
	s.events <- func() { s.takeReceiver(e) }
}

func (s *service) takeReceiver(e port.Event) {
	switch e.Kind {
	case port.Data:
		s.station.Bytes(e.Data, station.Read{At: e.At, Flowing: e.Quiet == 0, Stale: e.Stale})
	case port.Opened:
		s.station.Opened(station.Source{Device: e.Path, Identity: identity(e.Identity, e.Path), Baud: port.LineBaud(e.Path, e.Baud), Relay: port.Relayed(e.Path)}, e.At)
		s.pulse.receiverOn(e.Path)
		s.log.Info("receiver opened", "device", e.Path)
	case port.Heard:
		s.station.Heard(port.LineBaud(e.Path, e.Baud), e.At)
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

func identity(id port.Identity, path string) string {
	if id.VID == "" {
		return path
	}
	return fmt.Sprintf("usb %s:%s %s %s", id.VID, id.PID, id.Serial, id.Part)
}

// watchRTC reads the hardware clock's edge now and then, as its pace says. In between it
// sets it when that is ordered.
func (s *service) watchRTC(ctx context.Context, path string) {
	clock := rtc.New(func() (rtc.Device, error) { return rtc.Open(path) }, hostclock.Now, sleep.For)
	var pace rtc.Pace
	for ctx.Err() == nil {
		r, err := clock.ReadEdge(ctx, pace.Want())
		if ctx.Err() != nil {
			return
		}
		s.events <- func() { s.takeRTC(r, err) }
		pause := pace.Looked()
		if order, ok := s.nextOrder(ctx, &pace, pause); ok {
			s.setRTC(ctx, clock, order)
			if sleep.For(ctx, pace.Set()) != nil {
				return
			}
		}
	}
}

// nextOrder waits for an order to set the hardware clock, at most for d, or until the
// machine wakes.
func (s *service) nextOrder(ctx context.Context, pace *rtc.Pace, d time.Duration) (o steer.RTCOrder, ok bool) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	case <-s.woke:
		pace.Woke()
	case o = <-s.rtcOrders:
		return o, true
	}
	return o, false
}

// slackOfSleep is how well the time asleep is read on a loaded machine.
const slackOfSleep = 50 * time.Millisecond

// noteSleep has the hardware clock read when the machine slept: nothing else is left of the
// time then.
func (s *service) noteSleep(asleep time.Duration) {
	if asleep-s.slept > slackOfSleep {
		select {
		case s.woke <- struct{}{}:
		default: // it was told already
		}
	}
	s.slept = asleep
}

// watchFacts reads what only the page shows, off the loop: a battery behind a slow
// bus must not hold the clock up.
func (s *service) watchFacts(ctx context.Context) {
	for {
		rows := facts(os.DirFS("/sys"))
		s.events <- func() { s.facts = rows }
		if sleep.For(ctx, factsEvery) != nil {
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
	case errors.Is(err, errSwitchedOff):
		return "The hardware clock is switched off in the settings."
	case errors.Is(err, rtc.ErrDenied):
		return "The hardware clock may not be opened: run noonmark as its service, or give this user the right to /dev/rtc0."
	case errors.Is(err, rtc.ErrBusy):
		return "Another program holds the hardware clock open: stop it."
	case errors.Is(err, rtc.ErrAbsent):
		return "This computer has no hardware clock: after power-off the time is lost until satellites or a network give it."
	}
	return "The hardware clock cannot be read: " + err.Error() + "."
}

var errSwitchedOff = errors.New("the hardware clock is switched off in the settings")

// findRTC picks the device: the one the kernel took its time from comes first.
func findRTC(configured string) (rtc.Info, error) {
	if configured == "none" {
		return rtc.Info{}, errSwitchedOff
	}
	all, err := rtc.Find(os.DirFS("/sys"))
	if configured == "auto" {
		if err != nil {
			return rtc.Info{}, err
		}
		return all[0], nil
	}
	for _, c := range all {
		if c.Path == configured {
			return c, nil
		}
	}
	return rtc.Info{Path: configured}, nil // perhaps a name of its own; opening will tell
}

// watchSteps has the clock judged at once when anything steps it.
func (s *service) watchSteps(ctx context.Context) {
	err := hostclock.WatchSteps(ctx, func() {
		s.events <- func() { s.tick() }
		sleep.For(ctx, stepsPause)
	})
	if err != nil {
		s.log.Warn("steps of the clock are seen only once a second", "reason", err)
	}
}

func (s *service) network(r netref.Reading) {
	s.events <- func() { s.station.Network(r) }
}
