package service

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"os"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/leaps"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/build"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/station"
	"noonmark/rtc"
	"noonmark/status"
)

// kernelClock is the system clock that is steered: the kernel's, or a simulated one.
type kernelClock interface {
	Read() (steer.Kernel, error)
	Apply(steer.Actions) error
}

// steering is what the station is told of steering; nil where the clock is only
// watched. Nothing but the setting clock.steer, or the flag, ever opens the clock.
func (s *service) steering(set config.Config, modes []clockcheck.Mode, chip rtc.Info) *steer.Config {
	if !set.Clock.Steer {
		return nil
	}
	if s.clock == nil {
		c, err := steer.Open()
		if err != nil {
			s.log.Warn("the clock is only watched", "reason", err)
			return nil
		}
		s.clock = c
	}
	name := chip.Chip
	if name == "" {
		name = chip.Path
	}
	return &steer.Config{StepOver: time.Duration(set.Clock.StepOverS * 1e9), Modes: modes, InUse: set.Modes.InUse,
		Floor: build.Date(), Unvouched: !set.Clock.Vouch, RTC: name, Learned: s.kept.Steering, Ours: s.steeredBefore()}
}

// steeredBefore tells whether a run of this program steered in this boot until it was
// killed: the status that it left says so. One that ends in order takes its status away,
// or the service manager does.
func (s *service) steeredBefore() bool {
	found, err := status.Find(s.publish.Dir())
	if err != nil || !found.Status.Live || found.Status.Written.BootID != hostclock.BootID() {
		return false
	}
	switch steer.Word(found.Status.Clock.Steering) {
	case steer.Stepping, steer.Waiting, steer.Slewing, steer.Holding:
		return true
	}
	return false
}

// endSteering ends a correction of the clock that is under way.
func (s *service) endSteering() {
	if a := s.station.Ending(); a.Any() && s.clock != nil {
		if err := s.clock.Apply(a); err != nil {
			s.warn("system clock", err.Error())
		}
	}
}

// leaps reads the list of leap seconds, if anybody is to be told of them: without it
// the kernel is told of none, and clients of the time service what servers say.
func (s *service) leaps(set config.Config) *leaps.Table {
	if !set.Clock.Steer && set.Publish.TimeService == "" {
		return nil
	}
	t, err := readLeaps(leaps.Path)
	if err != nil {
		s.log.Warn("leap seconds are not known", "reason", err)
	} else if now := max(timescale.UTCOf(time.Now()), build.Date()); now >= t.Expires {
		s.log.Warn("the list of leap seconds has ended: it announces none any more", "ended", t.Expires.Time(), "remedy", "upgrade the package tzdata")
	}
	return t
}

func readLeaps(path string) (*leaps.Table, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, errors.New("there is no " + path + ": install the package tzdata")
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return leaps.Read(f)
}

// judge judges now, and finds what is wanted done to the clock.
func (s *service) judge() (*status.Snapshot, station.Tick, hostclock.Pair) {
	p := hostclock.Sample()
	t := station.Tick{Local: p.Local, System: p.System, Width: p.Width, BoottimeS: p.Boottime.Seconds(), AsleepS: p.SuspendOffset.Seconds()}
	s.noteSleep(p.SuspendOffset)
	if s.clock != nil {
		if k, err := s.clock.Read(); err != nil {
			s.warn("system clock", err.Error())
		} else {
			t.Kernel, t.Read = &k, hostclock.Now()
		}
	} else if s.asked == 0 || p.Local.Sub(s.asked) >= kernelEvery {
		s.asked = p.Local
		if k, err := hostclock.KernelStatus(); err == nil {
			s.station.KernelWritesRTC(!k.Unsync)
		}
	}
	s.station.Problems(s.problems(p.Local))
	return s.station.Tick(t), t, p
}

// act does what the last judgement wants done, and tells whether it moved the clock.
func (s *service) act(p hostclock.Pair) (stepped bool) {
	a := s.station.Actions()
	for _, e := range a.Events {
		s.log.Log(context.Background(), levelOf(e.Kind), e.Kind, "what", e.Text, "local_s", p.Local.Sub(0).Seconds())
	}
	s.wake = nil
	if a.Wake != 0 {
		s.wake = time.After(max(a.Wake.Sub(p.Local), 0))
	}
	if a.Any() && s.clock != nil {
		err := s.clock.Apply(a)
		s.station.Done(hostclock.Now(), err)
		if err != nil {
			s.warn("system clock", err.Error())
			return false
		}
	}
	if a.SetRTC != nil {
		select {
		case s.rtcOrders <- *a.SetRTC:
		default:
			s.station.RTCWritten(p.Local, p.Local, errors.New("it is being read just now"))
		}
	}
	return a.Step != 0
}

// levelOf an event of steering: a person should look where somebody else had a hand in it.
func levelOf(kind string) slog.Level {
	switch kind {
	case "clock-touched", "another-program", "not-steered":
		return slog.LevelWarn
	}
	return slog.LevelInfo
}

// setRTC carries an order out and brings the answer into the loop. It runs in the
// goroutine that owns the hardware clock.
func (s *service) setRTC(ctx context.Context, clock *rtc.Clock, o steer.RTCOrder) {
	before, after, err := clock.Set(ctx, o.At, o.Value)
	s.events <- func() { s.tookRTC(before, after, err) }
}

func (s *service) tookRTC(before, after timescale.Local, err error) {
	s.station.RTCWritten(before, after, err)
	if err != nil {
		s.warn("hardware clock not set", err.Error())
		return
	}
	s.log.Info("hardware clock set")
	s.save(after)
}
