package share

import (
	"context"
	"net"
	"strconv"
)

// running is what Run owns.
type running struct {
	*Sharer
	said    func(outlet, reason string)
	reasons map[string]string // last told

	listener net.Listener
	accepted chan net.Conn
	clients  []*client
	udp      *datagrams
	pty      *terminal
}

// tell passes a reason on if it is new.
func (r *running) tell(outlet string, err error) {
	reason := ""
	if err != nil {
		reason = err.Error()
	}
	if r.reasons[outlet] != reason {
		r.reasons[outlet] = reason
		r.said(outlet, reason)
	}
}

// open opens what is configured and not open yet, and reports whether all is.
func (r *running) open(ctx context.Context) (all bool) {
	all = true
	try := func(outlet, name string, isOpen bool, open func() error) {
		if name == "" || isOpen {
			return
		}
		err := open()
		r.tell(outlet, err)
		all = all && err == nil
	}
	try("tcp", r.cfg.TCP, r.listener != nil, func() (err error) {
		r.listener, err = listen(ctx, r.cfg.TCP, r.accepted)
		return err
	})
	try("udp", r.cfg.UDP, r.udp != nil, func() (err error) {
		r.udp, err = openUDP(r.cfg.UDP)
		return err
	})
	try("pty", r.cfg.PTY, r.pty != nil, func() (err error) {
		r.pty, err = openTerminal(r.cfg.PTY)
		return err
	})
	return all
}

// deliver offers lines to everybody.
func (r *running) deliver(lines []byte) {
	if len(lines) == 0 {
		return
	}
	live := r.clients[:0]
	for _, c := range r.clients {
		lost, err := c.deliver(lines)
		r.lost.Add(lost)
		if err != nil {
			c.conn.Close()
			continue
		}
		live = append(live, c)
	}
	clear(r.clients[len(live):])
	r.clients = live
	if r.udp != nil {
		lost, err := r.udp.deliver(lines)
		r.lost.Add(lost)
		r.tell("udp", err)
	}
	if r.pty != nil {
		lost, err := r.pty.deliver(lines)
		r.lost.Add(lost)
		r.tell("pty", err)
	}
}

// admit takes a new client. When all places are taken, one that has hung up or is
// stuck makes room; else the new one is turned away.
func (r *running) admit(conn net.Conn) {
	if len(r.clients) >= maxClients {
		i := r.leaver()
		if i < 0 {
			conn.Close()
			r.tell("tcp", errFull)
			return
		}
		r.clients[i].conn.Close()
		r.clients = append(r.clients[:i], r.clients[i+1:]...)
	}
	r.tell("tcp", nil)
	if c, err := newClient(conn); err == nil {
		r.clients = append(r.clients, c)
	} else {
		conn.Close()
	}
}

// leaver is the client that can best be spared, or -1.
func (r *running) leaver() int {
	stuck := -1
	for i, c := range r.clients {
		if c.gone() {
			return i
		}
		if c.stuck() {
			stuck = i
		}
	}
	return stuck
}

type fullError struct{}

func (fullError) Error() string {
	return strconv.Itoa(maxClients) + " programs are connected: no more are let in until one leaves"
}

var errFull = fullError{}

func (r *running) close() {
	if r.listener != nil {
		r.listener.Close()
	}
	for _, c := range r.clients {
		c.conn.Close()
	}
	r.udp.close()
	r.pty.close()
	r.readers.Store(0)
}
