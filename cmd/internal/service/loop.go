package service

import (
	"context"
	"runtime/debug"
	"strings"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/web"
	"noonmark/status"
)

// run owns the station until ctx ends.
func (s *service) run(ctx context.Context, failed <-chan error) error {
	// A timer of its own for each wait: one that is put off leaves its old instant in the
	// runtime's heap, and the process wakes for it (seen with strace, Go 1.26).
	tick := time.NewTimer(tickEvery)
	again := func(d time.Duration) { tick.Stop(); tick = time.NewTimer(d) }
	defer func() { tick.Stop() }()
	defer s.endSteering()
	// What the start took and nobody needs any more goes back, once: about 2 MB.
	defer time.AfterFunc(settledAfter, debug.FreeOSMemory).Stop()
	s.tick()
	for {
		select {
		case <-ctx.Done():
			daemon.SdNotify(false, daemon.SdNotifyStopping)
			s.save(hostclock.Now())
			s.saveNight()
			return nil
		case err := <-failed:
			return err
		case f := <-s.events:
			s.take(f)
			// Awake already: one wake-up less if the tick comes along. The timer, a little
			// late, stands by for a receiver that falls silent.
			if hostclock.Now().Sub(s.ticked) >= tickEvery*3/4 {
				s.tick()
				again(tickEvery + tickEvery/20)
			}
		case <-s.wake:
			s.tick()
		case <-tick.C:
			s.tick()
			again(tickEvery)
		}
	}
}

// take lets an event happen. Where the machine slept since the last tick, that is judged
// first: what the event brings belongs to the time after.
func (s *service) take(event func()) {
	if (s.suspended() - s.slept) > slackOfSleep {
		s.tick()
	}
	event()
}

// tick judges, publishes and tells the service manager.
func (s *service) tick() *status.Snapshot {
	snap, now, p := s.judge()
	if s.act(p) {
		// What was judged is another clock now.
		snap, now, p = s.judge()
		s.act(p)
	}
	if s.timeServer != nil {
		s.timeServer.publish(s.station, now, p)
	}
	s.ticked = p.Local
	snap.Sharing, snap.TimeService = s.shared(), s.timeServer.counts()
	if err := s.publish.Publish(snap); err != nil {
		s.warn("status", err.Error())
	}
	if s.page != nil {
		if s.byHand != nil {
			s.byHand.Saw(snap, p.Local)
		}
		web.Show(s.page, s.station, snap, p.Local, s.facts)
		s.keepNight(p.Local)
	}
	s.tell(snap)
	s.recorded(p.Local)
	if s.saving.Due(p.Local, s.station.Urgent()) {
		s.save(p.Local)
	}
	return snap
}

// tell logs changes and notifies the service manager.
func (s *service) tell(snap *status.Snapshot) {
	head := snap.Clock.Basis
	for _, m := range snap.Modes {
		head += " " + m.Mode + "=" + m.Verdict
	}
	s.tellProblems(snap)
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
		next := ""
		if snap.Advice != nil {
			next = snap.Advice.Text
		}
		message += "\nSTATUS=" + strings.TrimSpace(snap.Clock.Because+" "+next)
		s.log.Info("verdict", "clock", head, "because", snap.Clock.Because, "next", next)
	}
	if message != "" {
		if _, err := daemon.SdNotify(false, message); err != nil {
			s.warn("service manager", err.Error())
		}
	}
}
