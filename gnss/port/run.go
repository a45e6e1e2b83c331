package port

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"noonmark/clockcheck/timescale"
)

// Run delivers the events of the source cfg names to sink, until ctx ends
// (nil), a plain file ends (io.EOF, after Lost), or cfg makes no sense (an
// error that names the device). It never gives up otherwise. now reads the
// local timescale. Run calls sink from its own goroutine, one event at a time,
// and does nothing else meanwhile: a slow sink delays arrival stamps.
func Run(ctx context.Context, cfg Config, now func() timescale.Local, sink func(Event)) error {
	r, err := newRunner(cfg, now, sink)
	if err != nil {
		return err
	}
	return r.run(ctx)
}

type runner struct {
	target target
	baud   int // fixed by the configuration, or 0
	prompt bool
	now    func() timescale.Local
	sink   func(Event)

	sysfs, dev string
	open       func(ctx context.Context, t target, baud int) (source, error)
	back       func(fails int) time.Duration

	pin   Identity
	found int             // the speed that was right last time
	said  string          // the last reason told
	fails int             // short sessions in a row
	tried map[string]bool // silent receivers, in auto
}

func newRunner(cfg Config, now func() timescale.Local, sink func(Event)) (*runner, error) {
	t, err := parseDevice(cfg.Device)
	if err != nil {
		return nil, err
	}
	if cfg.Baud != 0 && (cfg.Baud < 300 || cfg.Baud > 4_000_000) {
		return nil, fmt.Errorf("port: baud %d: must be 0 (find it) or 300 to 4000000", cfg.Baud)
	}
	return &runner{
		target: t, baud: cfg.Baud, prompt: cfg.Prompt, now: now, sink: sink, pin: cfg.Pinned,
		sysfs: "/sys", dev: "/dev", open: open, back: backOff, tried: map[string]bool{},
	}, nil
}

// backOff is the wait before a port that keeps failing is opened again, for
// each opening raises its lines: 1, 2, 4 … 60 s.
func backOff(fails int) time.Duration {
	return min(time.Second<<min(fails, 6), time.Minute)
}

// shortLived is a session that ended suspiciously soon.
const shortLived = 10 * time.Second

func (r *runner) run(ctx context.Context) error {
	for ctx.Err() == nil {
		pause, err := r.once(ctx)
		if err != nil {
			return err
		}
		select {
		case <-ctx.Done():
		case <-time.After(pause):
		}
	}
	return nil
}

// once tries to open the source and, if it can, reads it to its end. It
// returns how long to wait before the next try.
func (r *runner) once(ctx context.Context) (time.Duration, error) {
	t, id, p := r.choose()
	if p == nil {
		if why := r.pin.refusal(id); why != "" {
			p = &problem{Refused, why, lookAbsent}
		}
	}
	if p != nil {
		r.tell(*p)
		return p.again, nil
	}
	baud := r.startBaud()
	src, err := r.open(ctx, t, baud)
	if err != nil {
		if ctx.Err() != nil {
			return 0, nil
		}
		p := classify(t, err)
		r.tell(p)
		if t.scheme != "path" || errors.Is(err, io.EOF) {
			r.fails++
			return min(r.back(r.fails-1), 30*time.Second), nil
		}
		if p.kind == Waiting {
			r.fails = 0 // it was unplugged: what comes back is a new start
		}
		return p.again, nil
	}
	// The device may have been exchanged between the look and the opening.
	if t.scheme == "path" && identify(r.sysfs, t.addr) != id {
		src.Close()
		return lookAbsent, nil
	}
	return r.hold(ctx, t, id, src, baud)
}

// hold owns src until it ends.
func (r *runner) hold(ctx context.Context, t target, id Identity, src source, baud int) (time.Duration, error) {
	start := r.now()
	r.said = ""
	r.sink(Event{Kind: Opened, At: start, Path: id.Name, Identity: id})
	s := newSession(src, id.Name, baud, r.baud != 0, r.now, func(ev Event) {
		ev.Path, ev.Identity = id.Name, id
		if ev.Kind == Heard {
			r.pin, r.found = id, ev.Baud
			clear(r.tried)
		}
		r.sink(ev)
	})
	s.prompt = r.prompt
	if r.target.scheme == "auto" {
		s.giveWay = func() bool { return r.another(t.addr) }
	}
	plain := src.traits().plain
	err := s.run(ctx)
	closed := src.Close()
	if ctx.Err() != nil {
		return 0, nil
	}
	if err == nil {
		err = closed
	}
	at := r.now()
	r.sink(Event{Kind: Lost, At: at, Path: id.Name, Identity: id, Reason: lostReason(id.Name, t, plain, err)})
	if plain && errors.Is(err, io.EOF) {
		return 0, io.EOF
	}
	if errors.Is(err, errGiveWay) {
		return 0, nil
	}
	if at.Sub(start) < shortLived {
		r.fails++
	} else {
		r.fails = 0
	}
	return r.back(max(r.fails-1, 0)), nil
}

func lostReason(name string, t target, plain bool, err error) string {
	switch {
	case plain && errors.Is(err, io.EOF):
		return name + ": end of file"
	case errors.Is(err, errGiveWay):
		return name + " " + errGiveWay.Error()
	case t.scheme == "tcp" && errors.Is(err, io.EOF):
		return name + " closed the connection: connecting again"
	case t.scheme != "path":
		return fmt.Sprintf("%s was lost (%v): trying again", name, plainNetError(err))
	case errors.Is(err, io.EOF):
		return name + " was unplugged: plug it back in"
	}
	return fmt.Sprintf("%s was lost (%v): check the cable; trying again", name, err)
}

func (r *runner) startBaud() int {
	switch {
	case r.baud != 0:
		return r.baud
	case r.found != 0:
		return r.found
	}
	return speeds[0]
}

// tell says a problem once.
func (r *runner) tell(p problem) {
	if r.said == p.reason {
		return
	}
	r.said = p.reason
	r.sink(Event{Kind: p.kind, At: r.now(), Reason: p.reason})
}

// choose finds what to open now.
func (r *runner) choose() (target, Identity, *problem) {
	switch r.target.scheme {
	case "auto":
		return r.chooseAuto()
	case "path":
		return r.target, identify(r.sysfs, r.target.addr), nil
	}
	return r.target, Identity{Name: r.target.scheme + "://" + r.target.addr}, nil
}

// chooseAuto takes the name given on purpose, else the receiver that was heard
// before, else the first one that has not yet proved silent.
func (r *runner) chooseAuto() (target, Identity, *problem) {
	paths, why := r.candidates()
	best := ""
	for _, p := range paths {
		if best == "" || r.tried[best] && !r.tried[p] ||
			r.tried[best] == r.tried[p] && r.likePin(p) && !r.likePin(best) && filepath.Base(best) != givenName {
			best = p
		}
	}
	if best == "" {
		clear(r.tried)
		return target{}, Identity{}, &problem{Waiting, why, lookAbsent}
	}
	return target{"path", best}, identify(r.sysfs, best), nil
}

func (r *runner) likePin(path string) bool {
	id := identify(r.sysfs, path)
	return r.pin.Serial == id.Serial && r.pin.VID == id.VID && r.pin.PID == id.PID && r.pin.Part == id.Part &&
		(r.pin.VID != "" || r.pin.Name == id.Name)
}

// candidates lists what auto would open, or says why there is nothing.
func (r *runner) candidates() (paths []string, why string) {
	given := filepath.Join(r.dev, givenName)
	real, err := filepath.EvalSymlinks(given)
	if err == nil {
		paths = append(paths, given)
	}
	list, err := List(r.sysfs, r.dev)
	if err != nil && len(paths) == 0 {
		return nil, fmt.Sprintf("the ports of this machine cannot be listed (%v): name the receiver's port in the configuration", err)
	}
	why = "no GNSS receiver is plugged in that says what it is: plug one in, or name its port"
	for _, in := range list {
		if in.WouldOpen && in.Path != real {
			paths = append(paths, in.Path)
		} else if !in.WouldOpen && in.VID != "" {
			why = fmt.Sprintf("%s is not opened: %s", in.Path, in.Why)
		}
	}
	return paths, why
}

// another marks path as silent and reports whether a receiver not yet tried
// is there.
func (r *runner) another(path string) bool {
	r.tried[path] = true
	paths, _ := r.candidates()
	for _, p := range paths {
		if !r.tried[p] {
			return true
		}
	}
	return false
}
