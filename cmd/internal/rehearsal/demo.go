// Package rehearsal is noonmark demo: a story on a simulated station, played through the
// code of the service.
package rehearsal

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/build"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/pin"
	"noonmark/cmd/internal/settings"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/terminal"
	"noonmark/cmd/internal/web"
	"noonmark/cmd/internal/world"
	"noonmark/status"
	"noonmark/status/page"
	"noonmark/status/safefile"
)

// Demo plays a story on a simulated station through the code of the service.
func Demo(ctx context.Context, c cli.Demo, out io.Writer) error {
	s := world.Scenarios()[0]
	var err error
	if c.Scenario != "" {
		if s, err = world.Named(c.Scenario); err != nil {
			return exit.Usage(err)
		}
	}
	pub, leave, err := publisher(c.RunDir)
	if err != nil {
		return err
	}
	defer leave()
	now, err := status.ReadNow()
	if err != nil {
		return err
	}
	w := world.New(s, station.Config{
		Judge: clockcheck.Config{Floor: build.Date(), Modes: settings.ShownModes(), RTCCompensated: true}, BuildDate: build.Date(),
		BootID: now.BootID, LocatorLength: 10, Steering: status.SteeringObserving, InUse: "FT8",
	}, c.Seed)
	term := terminal.Of(out)
	d := &demonstration{world: w, out: out, json: c.JSON, speed: c.Speed, publish: pub, end: c.For, told: map[string]bool{}, bar: term.Progress()}
	if c.Speed > 0 && c.HTTP != "none" {
		leave, err := d.openPage(ctx, c.HTTP)
		if err != nil {
			return err
		}
		defer leave()
	}
	if d.end == 0 {
		d.end = s.Length
	}
	if !c.JSON {
		d.begin(s, c)
	}
	return d.run(ctx)
}

// publisher is the way out of the simulation: into the directory named, or into that of
// "--demo", or, while another demo has that, into one of its own.
func publisher(dir string) (pub *status.Publisher, leave func(), err error) {
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	if dir != "" {
		if slices.Contains(env.ReadDirs(""), filepath.Clean(dir)) {
			return nil, nil, exit.Usage(fmt.Errorf("demo: %s is where the service publishes; a simulation must not: name another --run-dir", dir))
		}
		pub, err = status.NewPublisher(dir, true)
		return pub, func() { pub.Close() }, err
	}
	dir = env.DemoDir()
	if err := os.Mkdir(dir, 0o700); err == nil || errors.Is(err, fs.ErrExist) && safefile.OwnDir(dir) == nil {
		if pub, err = status.NewPublisher(dir, true); err == nil {
			return pub, func() { pub.Close(); os.Remove(dir) }, nil
		}
	}
	if dir, err = os.MkdirTemp("", "noonmark-demo-"); err != nil {
		return nil, nil, fmt.Errorf("demo: %w", err)
	}
	if pub, err = status.NewPublisher(dir, true); err != nil {
		os.RemoveAll(dir)
		return nil, nil, err
	}
	return pub, func() { pub.Close(); os.RemoveAll(dir) }, nil
}

// publishEvery spares the disk of a story played fast.
const publishEvery = 40 * time.Millisecond

// demonstration is a story being shown.
type demonstration struct {
	world     *world.World
	out       io.Writer
	json      bool
	speed     float64
	publish   *status.Publisher
	page      *page.Page // nil = none
	published time.Time
	shown     timescale.Local // this machine's own instant of the last snapshot
	hand      *web.ByHand     // nil = nothing can be done by hand
	events    chan func()
	end       time.Duration
	last      string
	chapter   string
	place     string
	snap      *status.Snapshot
	told      map[string]bool // words that were explained
	bar       *terminal.Progress
}

// openPage serves the page until what it returns is called.
func (d *demonstration) openPage(ctx context.Context, address string) (leave func(), err error) {
	spare := address == ""
	if spare {
		address = config.Default().Publish.HTTP
	}
	l, err := web.Listen(address, spare)
	if err != nil {
		return nil, exit.Usage(err)
	}
	var number string
	if d.page, number, err = d.newPage(); err != nil {
		l.Close()
		return nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		web.Serve(ctx, l, web.Site(d.page)) // ends with the demo; the story goes on without a page
	}()
	if !d.json {
		fmt.Fprintf(d.out, "Page: %s\n", web.PageURL(l))
		if number != "" {
			fmt.Fprintf(d.out, "PIN for what is done by hand there: %s\n", number)
		}
	}
	return func() { cancel(); <-done }, nil
}

// newPage is the page of the story. In real time it takes marks too, behind number.
func (d *demonstration) newPage() (p *page.Page, number string, err error) {
	if d.speed != 1 {
		return web.NewPage(d.speed, nil), "", nil
	}
	guard, err := pin.New(rand.Reader)
	if err != nil {
		return nil, "", err
	}
	d.events = make(chan func())
	d.hand = web.NewByHand(web.HandConfig{Unlock: web.Opener(guard), Owner: d.events, Station: func() *station.Station { return d.world.Station },
		// The world is already a second ahead of what is shown.
		Local: func(l timescale.Local) timescale.Local { return d.hand.At().Add(l.Sub(d.shown)) }})
	return web.NewPage(1, d.hand), guard.PIN(), nil
}

// rest waits, and does what comes from the page meanwhile.
func (d *demonstration) rest(ctx context.Context, wait time.Duration) error {
	end := time.NewTimer(wait)
	defer end.Stop()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case f := <-d.events:
			f()
		case <-end.C:
			return nil
		}
	}
}

func (d *demonstration) run(ctx context.Context) error {
	begin := time.Now()
	defer d.bar.Clear()
	for d.world.Elapsed() < d.end && ctx.Err() == nil {
		d.snap = d.world.Second()
		if d.speed > 0 {
			due := time.Duration(float64(d.world.Elapsed()) / d.speed)
			if wait := due - time.Since(begin); wait > 0 && d.rest(ctx, wait) != nil {
				break
			}
			if time.Since(d.published) >= publishEvery {
				d.published = time.Now()
				if err := d.put(); err != nil {
					return err
				}
			}
			if d.page != nil {
				d.shown = hostclock.Now()
				if d.hand != nil {
					d.hand.Saw(d.snap, d.world.Local())
				}
				web.Show(d.page, d.world.Station, d.snap, d.shown, nil)
			}
		}
		if err := d.show(); err != nil {
			return err
		}
	}
	if d.snap == nil || d.json {
		return nil
	}
	d.bar.Clear()
	return d.ending()
}

// put publishes: readers judge the age by this machine's own clock since boot, however
// fast the story goes.
func (d *demonstration) put() error {
	now, err := status.ReadNow()
	if err != nil {
		return err
	}
	out := *d.snap
	out.Live, out.Written.BoottimeS, out.Written.BootID, out.Written.AsleepS = false, now.BoottimeS, now.BootID, now.AsleepS
	return d.publish.Publish(&out)
}
