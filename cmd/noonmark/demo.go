package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/world"
	"noonmark/status"
)

// demo plays a story on a simulated station through the code of the service.
func demo(ctx context.Context, c demoCmd, out io.Writer) error {
	s, err := world.Named(c.Scenario)
	if err != nil {
		return usageError{err}
	}
	if c.Speed < 0 || c.For < 0 {
		return usageError{fmt.Errorf("demo: --speed and --for must not be negative")}
	}
	dir, err := os.MkdirTemp("", "noonmark-demo-")
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	defer os.RemoveAll(dir)
	pub, err := status.NewPublisher(dir, true)
	if err != nil {
		return err
	}
	defer pub.Close()
	now, err := status.ReadNow()
	if err != nil {
		return err
	}
	w := world.New(s, station.Config{
		Judge: clockcheck.Config{Floor: buildDate(), Modes: shownModes(), RTCCompensated: true}, BuildDate: buildDate(),
		BootID: now.BootID, LocatorLength: 10, Steering: status.SteeringObserving, InUse: "FT8",
	}, c.Seed)
	d := &demonstration{world: w, out: out, json: c.JSON, speed: c.Speed, publish: pub, end: c.For}
	if d.end == 0 {
		d.end = s.Length
	}
	if !c.JSON {
		fmt.Fprintf(out, "SIMULATION of a station on a salt flat: %s.\nStatus of the simulation: %s/%s\n\n", s.Summary, dir, status.FileName)
	}
	return d.run(ctx)
}

// demonstration is a story being shown.
type demonstration struct {
	world   *world.World
	out     io.Writer
	json    bool
	speed   float64
	publish *status.Publisher
	end     time.Duration
	last    string
	chapter string
	place   string
	snap    *status.Snapshot
}

func (d *demonstration) run(ctx context.Context) error {
	begin := time.Now()
	for d.world.Elapsed() < d.end && ctx.Err() == nil {
		d.snap = d.world.Second()
		if d.speed > 0 {
			due := time.Duration(float64(d.world.Elapsed()) / d.speed)
			if wait := due - time.Since(begin); wait > 0 && sleep(ctx, wait) != nil {
				break
			}
			if err := d.publish.Publish(d.snap); err != nil {
				return err
			}
		}
		if err := d.show(); err != nil {
			return err
		}
	}
	if d.snap == nil || d.json {
		return nil
	}
	_, err := fmt.Fprintf(d.out, "\n%s", d.snap.Why())
	return err
}

// show prints what has changed.
func (d *demonstration) show() error {
	if d.json {
		if d.world.Elapsed()%time.Minute != 0 {
			return nil
		}
		return json.NewEncoder(d.out).Encode(d.snap)
	}
	at := d.world.UTC().Time().Format("15:04:05")
	if c := d.world.Chapter(); c != d.chapter {
		d.chapter = c
		fmt.Fprintf(d.out, "%s UTC  STORY: %s\n", at, c)
	}
	if p := d.snap.Position; p != nil && p.Locator != "" && d.place == "" {
		d.place = p.Locator
		fmt.Fprintf(d.out, "%s UTC  place: locator %s\n", at, p.Locator)
	}
	var verdicts []string
	for _, m := range d.snap.Modes {
		verdicts = append(verdicts, m.Mode+" "+m.Verdict)
	}
	head := d.snap.Clock.Basis + ": " + strings.Join(verdicts, ", ")
	if head == d.last {
		return nil
	}
	d.last = head
	_, err := fmt.Fprintf(d.out, "%s UTC  %s\n              %s\n              (truth: the clock is %+.3f s off)\n",
		at, head, d.snap.Clock.Because, d.world.SystemError())
	return err
}
