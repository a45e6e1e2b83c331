// Package follower is noonmark follow: it acts on the status that the service
// publishes, as a process of its own.
package follower

import (
	"context"
	"io"
	"log/slog"
	"os"
	"runtime"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"noonmark/cmd/internal/broker"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/follow"
	"noonmark/cmd/internal/logging"
	"noonmark/cmd/internal/reader"
	"noonmark/cmd/internal/settings"
	"noonmark/status"
)

// gapS is a time without a look that is worth a word: commands may have been missed.
const gapS = 10

// follower acts on the status that the service publishes: a process of its own, so
// that whatever commands, names and networks do, the clock is judged undisturbed and
// the service needs no right for it.
type follower struct {
	log     *slog.Logger
	runDir  string
	watcher follow.Watcher
	runner  *follow.Runner
	broker  *broker.Publisher // nil = none
	child   *child            // the broker in a process of its own; nil = none
	orphan  func() bool       // the process that started this one is gone
	looked  float64           // boot clock
	checked float64           // boot clock: when the commands were looked at
	argv    map[string][]string
	said    map[string]bool // warnings
}

// Follow runs until ctx ends, or at once if there is nothing to do.
func Follow(ctx context.Context, c cli.Follow, errOut io.Writer) error {
	set, err := settings.Load(c.Config)
	if err != nil {
		return err
	}
	f := &follower{log: logging.New(errOut, c.Verbose, c.JSON), runDir: c.RunDir, orphan: orphaned(os.Getenv)}
	commands := map[string][]string{
		follow.VerdictLost: set.Events.VerdictLost, follow.VerdictRegained: set.Events.VerdictRegained,
		follow.LocatorChanged: set.Events.LocatorChanged, follow.TrustChanged: set.Events.TrustChanged,
		follow.BatteryLow: set.Events.BatteryLow,
	}
	if c.Part == partBroker {
		commands = nil
	}
	f.argv = commands
	f.runner = follow.NewRunner(commands, time.Duration(set.Events.LimitS*1e9), f.ended)
	switch {
	case set.MQTT.Broker == "" || c.Part == partCommands:
	case f.runner.Any():
		f.child = newChild(c, f.log)
	default:
		f.broker = broker.New(brokerOf(set.MQTT))
	}
	daemon.SdNotify(false, daemon.SdNotifyReady)
	if !f.runner.Any() && f.broker == nil && f.child == nil {
		f.log.Info("nothing to do: set commands under [events], or a broker under [mqtt]")
		return nil
	}
	return f.run(ctx)
}

// brokerOf names the station by its computer where no name was given.
func brokerOf(m config.MQTT) broker.Config {
	name := m.Station
	if name == "" {
		name, _ = os.Hostname()
	}
	if name == "" {
		name = "station"
	}
	return broker.Config{Broker: m.Broker, Station: name, Position: m.Position, Every: time.Duration(m.EveryS * 1e9),
		Username: m.Username, PasswordFile: m.PasswordFile, CAFile: m.CAFile,
		Credentials: broker.CredentialsOf()}
}

func (f *follower) run(ctx context.Context) error {
	runtime.GOMAXPROCS(1) // it does little, and has the battery to think of
	ctx, stop := context.WithCancel(ctx)
	var all sync.WaitGroup
	defer all.Wait()
	defer stop()
	failed := make(chan error, 1)
	all.Go(func() { f.runner.Run(ctx) })
	if f.broker != nil {
		said := &sayings{log: f.log}
		all.Go(func() {
			if err := f.broker.Run(ctx, said.broker); err != nil {
				failed <- exit.Usage(err)
			}
		})
	}
	if f.child != nil {
		all.Go(func() { f.child.run(ctx, f.runner.Keep) })
	}
	tick := time.NewTicker(reader.LookEvery)
	defer tick.Stop()
	for {
		f.look()
		if f.orphan() {
			return nil
		}
		select {
		case <-ctx.Done():
			daemon.SdNotify(false, daemon.SdNotifyStopping)
			return nil
		case err := <-failed:
			return err
		case <-tick.C:
		}
	}
}

// look takes one look at the status and hands on what it shows.
func (f *follower) look() {
	s, now, err := reader.Published(f.runDir)
	l := follow.Look{Status: &s, Now: now}
	if err != nil {
		l.Status, l.Problem = nil, err.Error()
	}
	if gap := now.BoottimeS - f.looked; f.looked > 0 && gap > gapS {
		f.log.Warn("the status was not looked at for a while: changes in between were missed", "gap", status.Span(gap))
	}
	if f.checked == 0 || now.BoottimeS-f.checked >= checkS {
		f.checked = now.BoottimeS
		f.check(now)
	}
	first := f.looked == 0
	f.looked = now.BoottimeS
	for _, e := range f.watcher.Take(l) {
		f.log.Info(e.Kind, "text", e.Text)
		if err := f.runner.Put(e, l.Status); err != nil {
			f.log.Warn(e.Kind, "reason", err)
		}
	}
	if first && err == nil {
		f.log.Info("following", "fresh", l.Fresh())
	}
	if f.broker != nil {
		if err := f.broker.Put(l.Status, l.Fresh()); err != nil {
			f.log.Warn("mqtt", "reason", err)
		}
	}
}

// checkS is how often it is looked whether the commands can be run, s.
const checkS = 30

// check says which commands cannot be run: in the log, and beside the status.
func (f *follower) check(now status.Now) {
	if len(f.argv) == 0 {
		return
	}
	list := follow.Unrunnable(f.argv)
	for _, p := range list {
		f.warnOnce(p.Text)
	}
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	dir, err := env.RunDir(f.runDir)
	if err == nil {
		err = status.PublishProblems(strings.TrimSuffix(dir, status.BesideSuffix), now, list)
	}
	if err != nil && len(list) > 0 {
		f.warnOnce("noonmark why cannot show this: " + err.Error())
	}
}

// warnOnce logs a text the first time.
func (f *follower) warnOnce(text string) {
	if f.said == nil {
		f.said = map[string]bool{}
	}
	if !f.said[text] {
		f.said[text] = true
		f.log.Warn(text)
	}
}

// ended logs what became of a command.
func (f *follower) ended(o follow.Outcome) {
	args := []any{"took", o.Took.Round(time.Millisecond).String()}
	if o.Missed > 0 {
		args = append(args, "missed", o.Missed)
	}
	if o.Printed != "" {
		args = append(args, "printed", status.Clean(o.Printed))
	}
	if o.Err != nil {
		f.log.Warn("command for "+o.Event.Kind, append(args, "reason", o.Err)...)
		return
	}
	f.log.Info("command for "+o.Event.Kind, args...)
}

// sayings says each reason once, from any goroutine.
type sayings struct {
	log  *slog.Logger
	mu   sync.Mutex
	last string
}

func (s *sayings) broker(reason string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case reason == s.last && reason != "":
	case reason == "":
		s.log.Info("mqtt: connected")
	default:
		s.log.Warn("mqtt", "reason", reason)
	}
	s.last = reason
}
