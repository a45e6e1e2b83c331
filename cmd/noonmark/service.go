package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
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

// settings are the file's, overridden by flags.
func settings(c cli.Run) (config.Config, error) {
	path := c.Config
	if path == "" {
		path = config.Path
	}
	set, err := config.Load(path, modeName)
	if errors.Is(err, fs.ErrNotExist) && c.Config == "" {
		err = nil // no file: the defaults are right for a newcomer
	}
	if err != nil {
		return set, usageError{err}
	}
	for _, o := range []struct {
		given bool
		key   string
		value any
	}{
		{c.Device != "", "receiver.device", c.Device},
		{c.Baud != nil, "receiver.baud", int64(deref(c.Baud))},
		{c.Latency != 0, "receiver.latency_s", c.Latency},
		{c.RTC != "", "rtc.device", c.RTC},
		{c.Mode != "", "modes.in_use", c.Mode},
	} {
		if o.given {
			if err := set.Set(o.key, o.value, modeName); err != nil {
				return set, usageError{err}
			}
		}
	}
	if len(c.Server) > 0 {
		set.Network.Servers = c.Server
	}
	return set, nil
}

func deref(p *int) int {
	if p == nil {
		return 0
	}
	return *p
}

// notYet warns of settings that this version reads and does not act on.
func (s *service) notYet(set config.Config) {
	for key, on := range map[string]bool{
		"clock.steer":          set.Clock.Steer,
		"receiver.pps":         set.Receiver.PPS != "auto" && set.Receiver.PPS != "none",
		"receiver.share_tcp":   set.Receiver.ShareTCP != "",
		"receiver.share_pty":   set.Receiver.SharePTY != "",
		"publish.time_service": set.Publish.TimeService != "",
	} {
		if on {
			s.log.Warn("this version does not do this yet: the setting has no effect", "key", key)
		}
	}
}

// serve runs the service until ctx ends.
func serve(ctx context.Context, c cli.Run, errOut io.Writer) error {
	// One loop does all the work, and little of it: a second processor would only
	// be woken to find nothing to do, and the battery pays for it.
	runtime.GOMAXPROCS(1)
	set, err := settings(c)
	if err != nil {
		return err
	}
	level := slog.LevelInfo
	if c.Verbose {
		level = slog.LevelDebug
	}
	options := &slog.HandlerOptions{Level: level}
	s := &service{log: slog.New(slog.NewTextHandler(errOut, options)), events: make(chan func(), 64), said: map[string]string{}}
	if c.JSON {
		s.log = slog.New(slog.NewJSONHandler(errOut, options))
	}
	s.notYet(set)
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	runDir, err := env.RunDir(c.RunDir)
	if err != nil {
		return usageError{err}
	}
	if s.publish, err = status.NewPublisher(runDir, c.AllowDisk); err != nil {
		return err
	}
	defer s.publish.Close()
	s.openState(env, c.StateDir)
	modes, err := modesShown(set)
	if err != nil {
		return usageError{err}
	}
	chip, err := findRTC(set.RTC.Device)
	if err != nil {
		s.log.Info("hardware clock", "reason", err)
	}
	s.station = station.New(station.Config{
		Judge: clockcheck.Config{Floor: buildDate(), Modes: modes, Latency: time.Duration(set.Receiver.LatencyS * 1e9),
			RTCCompensated: compensated(chip.Chip)},
		BuildDate: buildDate(), Live: true, BootID: hostclock.BootID(), InUse: set.Modes.InUse,
		LocatorLength: set.Publish.LocatorLength, Steering: status.SteeringObserving,
	}, s.kept.Learned)
	if interval, err := daemon.SdWatchdogEnabled(false); err == nil {
		s.watchdog = interval
	}
	return s.start(ctx, set)
}

// openState reads what was learned. Without a place to keep it the service runs
// all the same.
func (s *service) openState(env config.Environment, flag string) {
	dir, err := env.StateDir(flag)
	if err == nil {
		err = os.MkdirAll(dir, 0o755)
	}
	if err != nil {
		s.warn("learned state", err.Error()+": nothing learned will be kept")
		return
	}
	s.stateDir = dir
	if s.kept, err = keep.Load(dir); err != nil {
		s.warn("learned state", err.Error())
	}
}

// start sets the sources going, one goroutine each, and owns the station.
func (s *service) start(ctx context.Context, set config.Config) error {
	ctx, stop := context.WithCancel(ctx)
	var all sync.WaitGroup
	defer all.Wait()
	defer stop()
	failed := make(chan error, 1)
	// Whoever waits to hand over an event must not outlive the loop.
	all.Go(func() { <-ctx.Done(); s.drop() })
	all.Go(func() {
		err := port.Run(ctx, port.Config{Device: set.Receiver.Device, Baud: set.Receiver.Baud, Pinned: s.kept.Receiver}, hostclock.Now, s.receiverEvent)
		if err != nil && !errors.Is(err, io.EOF) {
			failed <- usageError{err}
		}
	})
	if set.RTC.Device != "none" {
		if chip, err := findRTC(set.RTC.Device); err != nil {
			s.station.RTCMissing(rtcReason(err))
		} else {
			all.Go(func() { s.watchRTC(ctx, chip.Path) })
		}
	} else {
		s.station.RTCMissing("The hardware clock is switched off in the settings.")
	}
	if len(set.Network.Servers) > 0 {
		p := netref.Poller{Servers: set.Network.Servers, Now: hostclock.Now, Suspended: hostclock.Suspended, NotBefore: buildDate()}
		all.Go(func() {
			if err := p.Run(ctx, s.network, s.networkProblem); err != nil {
				s.log.Warn("no time server can be asked", "reason", err)
			}
		})
	}
	all.Go(func() { s.watchSteps(ctx) })
	return s.run(ctx, failed)
}

// drop throws events away until no source is left that could block.
func (s *service) drop() {
	for {
		select {
		case <-s.events:
		case <-time.After(time.Second):
			return
		}
	}
}

func (s *service) networkProblem(p netref.Problem) {
	s.events <- func() { s.warn("time server "+p.Server, p.Reason) }
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
		s.station.Opened(station.Source{Device: e.Path, Identity: identity(e.Identity, e.Path), Baud: lineBaud(e.Path, e.Baud), Relay: relayed(e.Path)}, e.At)
		s.log.Info("receiver opened", "device", e.Path)
	case port.Heard:
		s.station.Speed(lineBaud(e.Path, e.Baud))
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

// lineBaud is the speed at which bytes really come in, for dating their arrival
// back; 0 where the nominal speed means nothing: a receiver that is itself a USB
// device has no serial line.
func lineBaud(path string, baud int) int {
	real, err := filepath.EvalSymlinks(path)
	if err == nil && strings.HasPrefix(filepath.Base(real), "ttyACM") {
		return 0
	}
	return baud
}

func relayed(path string) bool {
	return len(path) > 6 && (path[:6] == "tcp://" || path[:6] == "udp://")
}

// run owns the station until ctx ends.
func (s *service) run(ctx context.Context, failed <-chan error) error {
	tick := time.NewTicker(tickEvery)
	defer tick.Stop()
	s.tick()
	for {
		select {
		case <-ctx.Done():
			daemon.SdNotify(false, daemon.SdNotifyStopping)
			s.save(hostclock.Now())
			return nil
		case err := <-failed:
			return err
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
func findRTC(configured string) (rtc.Info, error) {
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

// compensated tells the chips whose driver serves temperature-compensated clocks
// only (data sheets: ±2 to ±3.5 ppm). A DS3231 shares its driver with plain
// crystals and is taken for one: wider, never falsely narrow.
func compensated(chip string) bool {
	for _, driver := range []string{"rtc-rv8803", "rtc-pcf2127", "rtc-ds3232"} {
		if strings.HasPrefix(chip, driver) {
			return true
		}
	}
	return false
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
