package world

import (
	"math"
	"time"

	"noonmark/clockcheck/netref"
)

// Server is a time server of the story.
type Server struct {
	Name  string
	Error time.Duration
	Bound time.Duration
	// What it says of its place among servers (netref.Reading); zero where it says nothing.
	ID, Follows [4]byte
	Port        uint16
	Stratum     int
	Leap        int
}

// Way is the network between the station and all servers.
type Way struct {
	Delay time.Duration // there and back, at least
	Queue time.Duration // mean of what is added, exponentially
	There float64       // share of the delay on the way there; 0.5 = as long as the way back
}

// maxBound: an answer not even good to a second is refused by package netref.
const maxBound = time.Second

// network changes who is there to be asked, and what the way is. The first to come is a
// network that came.
func (w *World) network(c *Chapter) {
	if len(w.servers) == 0 && len(c.Servers) > 0 {
		for _, p := range w.asking {
			p.NetworkChanged(w.local)
		}
	}
	w.servers, w.portal, w.way = c.Servers, c.Portal, c.Way
}

// ask asks each server that the story has named, when its pace says so. It is called at the
// begin of a second, for what falls into it.
func (w *World) ask() {
	for i, s := range w.servers {
		if w.asking[s.Name] == nil {
			p := netref.NewPace(netref.Start(w.local, i))
			w.asking[s.Name] = &p
			w.names = append(w.names, s.Name)
		}
	}
	for _, name := range w.names {
		p := w.asking[name]
		if due, ok := p.Next(); !ok || due > w.local {
			continue
		}
		r, ok := w.answer(name)
		switch spread := w.odd.Float64(); {
		case ok:
			p.Answered(w.local, spread)
			w.Station.Network(r)
		case len(w.servers) == 0:
			p.Offline(w.local)
		default:
			p.Failed(w.local, spread)
		}
	}
}

// answer is what a server says now; ok is false if it says nothing of use.
func (w *World) answer(name string) (r netref.Reading, ok bool) {
	for _, s := range w.servers {
		if s.Name == name {
			return w.says(s)
		}
	}
	return r, false
}

// says is what a server that is there says. An honest server's error stays within its bound
// (RFC 5905: the root distance holds if the server is right).
func (w *World) says(s Server) (r netref.Reading, ok bool) {
	if p := w.portal; p != nil { // it answers in the place of every address
		s.Error, s.Bound, s.Follows, s.Stratum = p.Error, p.Bound, p.Follows, p.Stratum
		if p.ID != [4]byte{} {
			s.ID, s.Port = p.ID, p.Port
		}
	}
	// Delays that differ cannot carry an answer beyond half the way there and back:
	// with an honest server it lies within the bound (RFC 5905, root distance).
	room := max(0.95*float64(s.Bound), math.Abs(float64(s.Error)))
	off := float64(s.Error) + w.rng.NormFloat64()*float64(s.Bound)/4
	off = min(max(off, -room), room)
	by, bound := w.onTheWay()
	bound += s.Bound
	return netref.Reading{Server: s.Name, At: w.local, UTC: w.utc.Add(time.Duration(off) + by), Bound: bound,
		Stratum: s.Stratum, Leap: s.Leap, ID: s.ID, Follows: s.Follows, Port: s.Port}, bound < maxBound
}

// onTheWay is what the network adds to an answer's error, and to its bound: with a share f
// of the delay D on the way there, the middle is wrong by (f − ½)·D.
func (w *World) onTheWay() (by, bound time.Duration) {
	if w.way == (Way{}) && w.link.Busy == 0 {
		return 0, 0
	}
	d := w.way.Delay + time.Duration(w.odd.ExpFloat64()*float64(w.way.Queue))
	by = time.Duration((w.way.There - 0.5) * float64(d))
	late := w.bracket() // our own stamp of the answer
	return by - late/2, (d + late) / 2
}
