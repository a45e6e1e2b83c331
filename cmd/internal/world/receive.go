package world

import (
	"math"
	"time"

	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/gnsstest"
)

// chunk is how much one read takes at most, as the service's reader rests.
const chunk = 96

// piece is what one read returns.
type piece struct {
	at      timescale.UTC
	bytes   []byte
	flowing bool
}

// receive delivers what the receiver sends for the whole second that begins next,
// as far as it arrives until end.
func (w *World) receive(scene gnsstest.Scene, end timescale.UTC) {
	second := (w.utc + timescale.UTC(timescale.Second) - 1) / timescale.UTC(timescale.Second) * timescale.UTC(timescale.Second)
	w.open(scene)
	for _, b := range w.rx.Emit(second, w.s.Place, scene) {
		n := 1
		for at := b.At; len(b.Bytes) > 0; n = min(chunk, len(b.Bytes)) {
			at = at.Add(time.Duration(n) * b.PerByte)
			w.line = append(w.line, piece{at, b.Bytes[:n], n > 1})
			b.Bytes = b.Bytes[n:]
		}
	}
	// At a low speed the end of a burst comes after the end of this second.
	n := 0
	for ; n < len(w.line) && w.line[n].at <= end; n++ {
		w.to(w.line[n].at)
		w.Station.Bytes(w.line[n].bytes, station.Read{At: w.local, Flowing: w.line[n].flowing})
	}
	w.line = append(w.line[:0], w.line[n:]...)
}

// open opens the receiver's port, or notices that it is gone.
func (w *World) open(scene gnsstest.Scene) {
	if w.opened != scene.Unplugged {
		return
	}
	if w.opened = !scene.Unplugged; !w.opened {
		w.Station.Lost("The receiver is unplugged: plug it in.", w.local)
		return
	}
	w.Station.Opened(station.Source{Device: "simulated receiver", Identity: "simulated receiver " + w.s.Receiver.Talker,
		Baud: w.baud()}, w.local)
}

func (w *World) baud() int {
	if w.s.Receiver.Baud != 0 {
		return w.s.Receiver.Baud
	}
	return 9600
}

// ask lets the servers that are there answer, each 64 s. An honest server's error
// stays within its bound (RFC 5905: the root distance holds if the server is right).
func (w *World) ask() {
	if len(w.servers) == 0 || w.utc.Sub(w.asked) < 64*time.Second {
		return
	}
	w.asked = w.utc
	for _, s := range w.servers {
		// Delays that differ cannot carry an answer beyond half the way there and back:
		// with an honest server it lies within the bound (RFC 5905, root distance).
		room := max(0.95*float64(s.Bound), math.Abs(float64(s.Error)))
		off := float64(s.Error) + w.rng.NormFloat64()*float64(s.Bound)/4
		w.Station.Network(netref.Reading{Server: s.Name, At: w.local, UTC: w.utc.Add(time.Duration(min(max(off, -room), room))), Bound: s.Bound})
	}
}
