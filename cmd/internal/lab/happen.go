package lab

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
)

// weather reads what becomes warm or cold; ok is false if the line says nothing of it.
func weather(l *line, c *world.Chapter) (ok bool, err error) {
	switch {
	case l.is("air usual"):
		c.Air = &world.TempMove{Usual: true}
		c.Air.Over, err = within(l)
	case l.is("air"):
		c.Air = &world.TempMove{}
		if c.Air.ToC, err = l.number("the temperature", "C"); err == nil {
			c.Air.Over, err = within(l)
		}
	case l.is("sun"):
		c.Sun = &world.TempMove{}
		if c.Sun.ToC, err = l.number("how much the sun warms", "C"); err == nil {
			c.Sun.Over, err = within(l)
		}
	case l.is("oscillator jumps"):
		c.OscJump, err = l.fast("the oscillator's jump")
	default:
		return false, nil
	}
	return true, err
}

// within takes the time constant of a change of temperature: one minute if not said.
func within(l *line) (time.Duration, error) {
	if !l.is("within") {
		return time.Minute, nil
	}
	return l.span("how fast it goes")
}

// others reads what other programs do to the system clock.
func others(l *line, c *world.Chapter) (ok bool, err error) {
	switch {
	case l.is("system clock moved"):
		c.Step, err = l.offset("the step")
	case l.is("system clock turned"):
		c.Turn, err = l.offset("the turn")
	case l.is("system clock runs"):
		var ppm float64
		ppm, err = l.fast("the system clock's rate")
		c.Slew = &ppm
	default:
		return false, nil
	}
	return true, err
}

// network reads what happens to servers and the way to them.
func network(l *line, c *world.Chapter) (ok bool, err error) {
	switch {
	case l.is("server"):
		err = server(l, c)
	case l.is("network gone"):
		c.Servers, c.Portal, c.Way = nil, nil, world.Way{}
	case l.is("portal gone"):
		c.Portal = nil
	case l.is("portal"):
		c.Portal = &world.Server{Name: "portal", Bound: 20 * time.Millisecond, Stratum: 2}
		err = serverIs(l, c.Portal)
	case l.is("network"):
		c.Way = world.Way{There: 0.5}
		err = l.list(func() error { return way(l, &c.Way) })
	default:
		return false, nil
	}
	return true, err
}

// way reads a property of the network.
func way(l *line, w *world.Way) (err error) {
	switch {
	case l.is("delay"):
		w.Delay, err = l.span("the delay there and back")
	case l.is("queue"):
		w.Queue, err = l.span("the mean of what is added")
	case l.is("there"):
		w.There, err = l.number("the share of the way there", "%")
	default:
		err = fmt.Errorf("a network has a delay, a queue, and a share of it there")
	}
	return err
}

func server(l *line, c *world.Chapter) error {
	name, err := l.word("the server's name")
	if err != nil {
		return err
	}
	i := slices.IndexFunc(c.Servers, func(s world.Server) bool { return s.Name == name })
	if i >= 0 {
		c.Servers = slices.Delete(c.Servers, i, i+1)
	}
	if l.is("gone") {
		return nil
	}
	s := world.Server{Name: name, Bound: 30 * time.Millisecond}
	if err := serverIs(l, &s); err != nil {
		return err
	}
	c.Servers = append(c.Servers, s)
	return nil
}

// serverIs reads a server's properties.
func serverIs(l *line, s *world.Server) (err error) {
	if !l.is("right") {
		if s.Error, err = l.offset("the server's error"); err != nil {
			return err
		}
	}
	for l.is(",") {
		switch {
		case l.is("bound"):
			s.Bound, err = l.span("the server's bound")
		case l.is("at"):
			s.ID, err = address(l)
			s.Port = 123
		case l.is("follows"):
			s.Follows, err = address(l)
		case l.is("stratum"):
			var v float64
			v, err = l.number("the stratum", "")
			s.Stratum = int(v)
		default:
			err = fmt.Errorf("a server has a bound, an address (at), one that it follows, a stratum")
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// address takes an IPv4 address, or up to four letters as those at stratum 1 name their clock.
func address(l *line) (id [4]byte, err error) {
	w, err := l.word("an address")
	if err != nil {
		return id, err
	}
	part := strings.Split(w, ".")
	if len(part) == 1 && len(w) <= 4 {
		copy(id[:], w)
		return id, nil
	}
	for i := range id {
		n, err := strconv.ParseUint(part[min(i, len(part)-1)], 10, 8)
		if err != nil || len(part) != 4 {
			return id, fmt.Errorf("%q is no address such as 192.0.2.1", w)
		}
		id[i] = byte(n)
	}
	return id, nil
}

// link reads how the receiver's bytes come: usual, or a list.
func link(l *line, k *world.Link) error {
	*k = world.Link{}
	return l.list(func() (err error) {
		switch {
		case l.is("usual"):
		case l.is("relay"):
			k.Relay = true
		case l.is("behind"):
			k.Behind, err = l.span("how much later the bytes come")
		case l.is("in steps of"):
			k.Grain, err = l.span("the steps in which they come")
		case l.is("busy up to"):
			k.Busy, err = l.span("how long a read waits")
		case l.is("twice"):
			k.Twice, err = l.number("the share that comes twice", "%")
		default:
			err = fmt.Errorf("a line is usual, a relay, behind, in steps of, busy up to, or says things twice")
		}
		return err
	})
}

// receiverIs reads what is done to the receiver itself.
func receiverIs(l *line, c *world.Chapter) (ok bool, err error) {
	switch {
	case l.is("line"):
		c.Link = &world.Link{}
		err = link(l, c.Link)
	case l.is("status void for"):
		c.Void, err = l.span("how long the receiver calls itself invalid")
	case l.is("receiver restarts cold"), l.is("receiver restarts warm"):
		cold := strings.EqualFold(l.words[l.at-1], "cold")
		c.Restart = &cold
	case l.is("another receiver"):
		m := gnsstest.Typical()
		err = l.list(func() error { return receiver(l, &m) })
		c.Plug = &m
	case l.is("receiver set to"):
		c.Change, err = changes(l)
	default:
		return false, nil
	}
	return true, err
}

// changes reads properties that a running receiver takes on.
func changes(l *line) (out []func(*gnsstest.Model), err error) {
	err = l.list(func() error {
		from := l.at
		if err := receiver(l, &gnsstest.Model{}); err != nil {
			return err
		}
		words := l.words[from:l.at]
		out = append(out, func(m *gnsstest.Model) {
			// It was read once and cannot fail now.
			_ = receiver(&line{words: words}, m)
		})
		return nil
	})
	return out, err
}
