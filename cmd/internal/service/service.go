// Package service is noonmark run: devices, goroutines, and the one loop that owns the
// station. Each source (receiver, hardware clock, servers, pulse, thermometer) has a
// goroutine of its own and hands events to the loop; the loop judges once a second,
// publishes, steers, and keeps what was learned.
package service

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"runtime"
	"runtime/debug"
	"sync"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/build"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/keep"
	"noonmark/cmd/internal/logging"
	"noonmark/cmd/internal/record"
	"noonmark/cmd/internal/settings"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/web"
	"noonmark/gnss/port"
	"noonmark/gnss/share"
	"noonmark/rtc"
	"noonmark/status"
	"noonmark/status/page"
)

// How often the loop does what.
const (
	tickEvery   = time.Second
	kernelEvery = 10 * time.Second
	factsEvery  = 30 * time.Second
	stepsPause  = 100 * time.Millisecond // between two looks at steps of the clock
	// By then files are read, the page is drawn for the first time, and speeds are tried.
	settledAfter = 20 * time.Second
)

// service is the one owner of the station: everything reaches it as an event,
// and the loop in run is the only place that touches it.
type service struct {
	log         *slog.Logger
	station     *station.Station
	kept        keep.State
	stateDir    string // "" = nothing is kept
	publish     *status.Publisher
	page        *page.Page      // nil = none
	nightAt     timescale.Local // when its record was last kept
	timeServer  *timeService    // nil = none
	sharer      *share.Sharer   // nil = none
	facts       []page.Row      // about warmth and power
	byHand      *web.ByHand     // nil = nothing can be done by hand
	pulse       *pulseWatch     // nil = none wanted
	thermometer *thermometer    // nil = none
	events      chan func()
	ticked      timescale.Local // the last tick
	ready       bool
	watchdog    time.Duration
	lastSaid    string
	saving      keep.Pace
	record      *record.Folder  // nil = none
	asked       timescale.Local // the kernel
	clock       kernelClock     // nil = only watched
	wake        <-chan time.Time
	rtcOrders   chan steer.RTCOrder
	woke        chan struct{}        // the machine slept: the hardware clock is to be read
	suspended   func() time.Duration // how long the machine has slept since boot
	slept       time.Duration        // … at the last tick
	said        map[string]string
	lost        string           // why what is learned cannot be kept; "" = it can
	others      []status.Problem // of other processes of the station, looked for at othersAt
	othersAt    timescale.Local
}

// startUp: by then the settings are read, the receiver is heard and the page is served.
const startUp = 10 * time.Second

// Serve runs the service until ctx ends.
func Serve(ctx context.Context, c cli.Run, errOut io.Writer) error {
	// One loop does all the work, and little of it: a second processor would only
	// be woken to find nothing to do, and the battery pays for it. 200 open screens do
	// not hold the loop up either: 99 of 100 wake-ups then came within 7 ms (measured).
	runtime.GOMAXPROCS(1)
	// What lives is about 1.5 MB: collected at twice that the process would hold as much
	// again for nothing. A collection takes 2 ms of the processor, twice a minute.
	debug.SetGCPercent(20)
	// What only the start needed goes back to the system, once.
	defer time.AfterFunc(startUp, debug.FreeOSMemory).Stop()
	set, err := settings.ForRun(c)
	if err != nil {
		return err
	}
	s := &service{log: logging.New(errOut, c.Verbose, c.JSON), events: make(chan func(), 64), rtcOrders: make(chan steer.RTCOrder), woke: make(chan struct{}, 1), suspended: hostclock.Suspended, slept: hostclock.Suspended(), said: map[string]string{}}
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	runDir, err := env.RunDir(c.RunDir)
	if err != nil {
		return exit.Usage(err)
	}
	if s.publish, err = status.NewPublisher(runDir, c.AllowDisk); err != nil {
		return err
	}
	defer s.publish.Close()
	s.openState(env, c.StateDir)
	modes, err := settings.ModesShown(set)
	if err != nil {
		return exit.Usage(err)
	}
	to, err := sharing(set)
	if err != nil {
		return exit.Usage(err)
	}
	s.openSharing(to)
	chip, noRTC := findRTC(set.RTC.Device)
	if noRTC != nil {
		s.log.Info("hardware clock", "reason", noRTC)
	}
	for _, w := range set.Withdrawn {
		s.warn("settings", w)
	}
	cfg := s.stationConfig(set, modes, chip)
	s.openRecord(set.Record, &cfg)
	defer s.closeRecord()
	s.station = station.New(cfg, s.kept.Learned)
	s.station.Remember(s.kept.Place)
	if c.Verbose {
		s.station.OnEpoch(s.logEpoch)
	}
	if interval, err := daemon.SdWatchdogEnabled(false); err == nil {
		s.watchdog = interval
	}
	if noRTC != nil {
		s.station.RTCMissing(rtcReason(noRTC))
	}
	if s.thermometer = findThermometer(os.DirFS("/"), set.Clock.Thermometer, chip.Path); s.thermometer != nil {
		s.takeTemperature(s.thermometer.read()) // before the first reading of a clock
	}
	return s.start(ctx, set, chip.Path)
}

// stationConfig is what the station is told once, of the settings and of this machine.
func (s *service) stationConfig(set config.Config, modes []clockcheck.Mode, chip rtc.Info) station.Config {
	return station.Config{
		Judge: clockcheck.Config{Floor: build.Date(), Modes: modes, Latency: time.Duration(set.Receiver.LatencyS * 1e9),
			RTCCompensated: chip.Compensated(), PPSEdge: pulseEdge(set.Receiver.PPSEdge)},
		BuildDate: build.Date(), Live: true, BootID: hostclock.BootID(), InUse: set.Modes.InUse,
		LocatorLength: set.Publish.LocatorLength, Steering: status.SteeringObserving, Steer: s.steering(set, modes, chip),
		Leaps: s.leaps(set),
	}
}

// openState reads what was learned. Without a place to keep it the service runs
// all the same.
func (s *service) openState(env config.Environment, flag string) {
	dir, err := env.StateDir(flag)
	if err == nil {
		err = os.MkdirAll(dir, 0o755)
	}
	if err != nil {
		s.notKept(err)
		return
	}
	s.stateDir = dir
	if s.kept, err = keep.Load(dir); err != nil {
		s.warn("learned state", err.Error())
	}
	if err := keep.Check(dir); err != nil {
		s.notKept(err)
	}
}

// start sets the sources going, one goroutine each, and owns the station. rtcPath
// is "" where there is no hardware clock to read.
func (s *service) start(ctx context.Context, set config.Config, rtcPath string) error {
	ctx, stop := context.WithCancel(ctx)
	var all sync.WaitGroup
	defer all.Wait()
	defer stop()
	failed := make(chan error, 1)
	// Whoever waits to hand over an event must not outlive the loop.
	all.Go(func() { <-ctx.Done(); s.drop() })
	all.Go(func() {
		err := port.Run(ctx, port.Config{Device: set.Receiver.Device, Baud: set.Receiver.Baud, Pinned: s.kept.Receiver, Prompt: s.sharer != nil},
			hostclock.Now, s.receiverEvent)
		if err != nil && !errors.Is(err, io.EOF) {
			failed <- exit.Usage(err)
		}
	})
	if rtcPath != "" {
		all.Go(func() { s.watchRTC(ctx, rtcPath) })
	}
	if servers := s.fewServers(set.Network.Servers); len(servers) > 0 {
		p := netref.Poller{Servers: servers, Now: hostclock.Now, Suspended: hostclock.Suspended, NotBefore: build.Date()}
		all.Go(func() {
			if err := p.Run(ctx, s.network, s.networkProblem); err != nil {
				s.log.Warn("no time server can be asked", "reason", err)
			}
		})
	}
	if s.pulse = s.newPulse(set.Receiver.PPS, set.Receiver.PPSEdge); s.pulse != nil {
		all.Go(func() { s.pulse.run(ctx) })
	}
	if s.thermometer != nil {
		all.Go(func() { s.watchTemperature(ctx) })
	}
	all.Go(func() { s.watchSteps(ctx) })
	s.serveOthers(ctx, set, &all)
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

// warn logs a reason once, not at each try.
func (s *service) warn(about, reason string) {
	if s.said[about] != reason {
		s.said[about] = reason
		s.log.Warn(about, "reason", reason)
	}
}
