package service

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"noonmark/clockcheck"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/sleep"
	"noonmark/cmd/internal/station"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// mark gives the judge a mark and says what came of it.
func (s *service) mark(ctx context.Context, m clockcheck.Mark) (control.Marked, error) {
	if now := hostclock.Now(); m.At > now || m.At < now.Add(-time.Hour) || m.Bound <= 0 || m.Bound > time.Minute {
		return control.Marked{}, errors.New("the mark is not of this hour, or its bound is not between 0 and 60 s")
	}
	return s.offerClaim(ctx, clockcheck.MarkName(m.Borrowed), m.Bound, func() bool { return s.station.Mark(m) })
}

// air gives the judge what the radio's sound told.
func (s *service) air(ctx context.Context, a clockcheck.Air) (control.Marked, error) {
	if now := hostclock.Now(); a.At > now || a.At < now.Add(-time.Hour) || a.Bound <= 0 || a.Bound > 10*time.Second ||
		a.Source == "" || len(a.Source) > 16 || a.Modulo < 0 || a.Modulo > 24*time.Hour {
		return control.Marked{}, errors.New("what was heard is not of this hour, or has no bound or no name")
	}
	return s.offerClaim(ctx, a.Source, a.Bound, func() bool { return s.station.Air(a) })
}

// offerClaim has the service's own loop give the judge a offerClaim, and says what came of it.
// Any goroutine may call but that loop.
func (s *service) offerClaim(ctx context.Context, name string, bound time.Duration, give func() bool) (control.Marked, error) {
	done := make(chan control.Marked, 1)
	ask := func() {
		a := control.Marked{Placed: give(), Modes: map[string]string{}}
		snap := s.tick()
		a.Because = snap.Clock.Because
		for _, mode := range snap.Modes {
			a.Modes[mode.Mode] = mode.Verdict
		}
		for _, r := range snap.References {
			if a.Placed && r.Name == name {
				a.Says = &r
			}
		}
		s.log.Info("told", "by", name, "placed", a.Placed, "bound_s", bound.Seconds(), "because", a.Because)
		done <- a
	}
	select {
	case s.events <- ask:
	case <-ctx.Done():
		return control.Marked{}, ctx.Err()
	}
	select {
	case a := <-done:
		return a, nil
	case <-ctx.Done():
		return control.Marked{}, ctx.Err()
	}
}

// withdraw takes the newest mark back.
func (s *service) withdraw(ctx context.Context) (control.Answer, error) {
	said, err := s.offerClaim(ctx, "withdrawal", 0, func() bool { return s.station.Withdraw(hostclock.Now()) })
	if err == nil && !said.Placed {
		err = errors.New(station.NoMark)
	}
	return control.Answer{Mark: &said, Done: station.TakenBack}, err
}

// resume takes the clock back from another program.
func (s *service) resume(ctx context.Context) (string, error) {
	done := make(chan error, 1)
	select {
	case s.events <- func() {
		err := s.station.Resume(hostclock.Now())
		if err == nil {
			s.log.Warn("steering-again", "what", "The operator has taken the clock back.")
		}
		done <- err
	}:
	case <-ctx.Done():
		return "", ctx.Err()
	}
	select {
	case err := <-done:
		return "Noonmark sets the clock again. If it stops again, another program is still at work: noonmark preflight looks for it.", err
	case <-ctx.Done():
		return "", ctx.Err()
	}
}

// openControl listens on the control socket; nil if it cannot. The run directory is
// locked by now, so that a socket that lies there is nobody's.
func (s *service) openControl(dir string) net.Listener {
	path := filepath.Join(dir, control.Name)
	err := os.Remove(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		s.log.Warn("no marks can be taken", "reason", err)
		return nil
	}
	l, err := net.Listen("unix", path)
	if err == nil {
		err = os.Chmod(path, control.Mode)
	}
	if err != nil {
		s.log.Warn("no marks can be taken", "reason", err)
		return nil
	}
	return l
}

// serveControl answers until ctx ends.
func (s *service) serveControl(ctx context.Context, l net.Listener) {
	stop := context.AfterFunc(ctx, func() { l.Close() })
	defer stop()
	room := make(chan struct{}, control.MaxConns)
	var all sync.WaitGroup
	defer all.Wait()
	for {
		c, err := l.Accept()
		if err != nil {
			if ctx.Err() != nil || sleep.For(ctx, time.Second) != nil {
				return
			}
			continue
		}
		select {
		case room <- struct{}{}:
			all.Go(func() { s.controlled(ctx, c); <-room })
		default:
			c.Close()
		}
	}
}

// controlled answers one connection.
func (s *service) controlled(ctx context.Context, c net.Conn) {
	defer c.Close()
	ctx, cancel := context.WithTimeout(ctx, control.Time)
	defer cancel()
	c.SetDeadline(time.Now().Add(control.Time))
	line, err := bufio.NewReader(io.LimitReader(c, control.MaxBytes)).ReadBytes('\n')
	var r control.Request
	if err == nil {
		err = json.Unmarshal(line, &r)
	}
	var a control.Answer
	if err == nil {
		a, err = s.control(ctx, r)
	}
	if err != nil {
		a = control.Answer{Error: err.Error()}
	}
	json.NewEncoder(c).Encode(a)
}

func (s *service) control(ctx context.Context, r control.Request) (a control.Answer, err error) {
	awake := func(boot string, asleep float64) error {
		if slept := hostclock.Suspended().Seconds() - asleep; boot != hostclock.BootID() || !(slept < 0.05 && slept > -0.05) {
			return errors.New("the computer slept since: mark or listen again")
		}
		return nil
	}
	switch {
	case r.Do == "mark" && r.Mark != nil:
		m := r.Mark
		if err := awake(m.BootID, m.AsleepS); err != nil {
			return a, err
		}
		said, err := s.mark(ctx, clockcheck.Mark{At: m.LocalNS, UTC: m.UTC, Bound: seconds(m.BoundS)})
		return control.Answer{Mark: &said}, err
	case r.Do == "air" && r.Air != nil:
		h := r.Air
		if err := awake(h.BootID, h.AsleepS); err != nil {
			return a, err
		}
		said, err := s.air(ctx, clockcheck.Air{Source: h.Source, At: h.LocalNS, UTC: h.UTC, Modulo: seconds(h.ModuloS),
			Bound: seconds(h.BoundS), Common: seconds(h.CommonS), Signals: h.Signals})
		return control.Answer{Air: &said}, err
	}
	if r.Do == "withdraw" {
		return s.withdraw(ctx)
	}
	if r.Do == "resume" {
		text, err := s.resume(ctx)
		return control.Answer{Done: text}, err
	}
	return a, fmt.Errorf("this service does not do %q", r.Do)
}

func seconds(s float64) time.Duration { return time.Duration(s * 1e9) }
