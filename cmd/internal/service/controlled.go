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
	"os"
	"path/filepath"
	"sync"
	"time"
)

// mark gives the judge a mark and says what came of it. Any goroutine may call but the
// service's own loop.
func (s *service) mark(ctx context.Context, m clockcheck.Mark) (control.Marked, error) {
	if now := hostclock.Now(); m.At > now || m.At < now.Add(-time.Hour) || m.Bound <= 0 || m.Bound > time.Minute {
		return control.Marked{}, errors.New("the mark is not of this hour, or its bound is not between 0 and 60 s")
	}
	done := make(chan control.Marked, 1)
	ask := func() {
		a := control.Marked{Placed: s.station.Mark(m), Modes: map[string]string{}}
		snap := s.tick()
		a.Because = snap.Clock.Because
		for _, mode := range snap.Modes {
			a.Modes[mode.Mode] = mode.Verdict
		}
		for _, r := range snap.References {
			if a.Placed && r.Name == clockcheck.MarkName(m.Borrowed) {
				a.Says = &r
			}
		}
		s.log.Info("mark", "placed", a.Placed, "bound_s", m.Bound.Seconds(), "because", a.Because)
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
	if r.Do != "mark" || r.Mark == nil {
		return a, fmt.Errorf("this service does not do %q", r.Do)
	}
	m := r.Mark
	if slept := hostclock.Suspended().Seconds() - m.AsleepS; m.BootID != hostclock.BootID() || slept > 0.05 || slept < -0.05 {
		return a, errors.New("the computer slept since the mark: mark again")
	}
	said, err := s.mark(ctx, clockcheck.Mark{At: m.LocalNS, UTC: m.UTC, Bound: time.Duration(m.BoundS * 1e9)})
	return control.Answer{Mark: &said}, err
}
