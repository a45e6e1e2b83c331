package world

import (
	"time"

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

// Link is how the receiver's bytes come to the program. The zero value is a line that
// loses and delays nothing.
type Link struct {
	Relay  bool          // comes over a network
	Behind time.Duration // bytes come so much later: 6 to 10 s were measured behind a Wi-Fi multiplexer
	Grain  time.Duration // they come at multiples of this: USB frames 1 ms, an adapter's timer 16 ms (its default, from memory)
	Busy   time.Duration // reads wait up to this, now and then: a busy machine
	Twice  float64       // chance that what one read returned comes once more: relays repeat
}

// transit is the state of the link.
type transit struct {
	last       timescale.UTC // what was read last was read at
	stall, end timescale.UTC // of the machine, the present or next
}

// receive delivers what the receiver sends for the whole second that begins next,
// as far as it arrives until end.
func (w *World) receive(scene gnsstest.Scene, end timescale.UTC) {
	w.open(scene)
	for _, b := range w.rx.Emit(w.nextSecond(), w.s.Place, scene) {
		n := 1
		for at := b.At; len(b.Bytes) > 0; n = min(chunk, len(b.Bytes)) {
			at = at.Add(time.Duration(n) * b.PerByte)
			w.carry(piece{at, b.Bytes[:n], n > 1})
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

// nextSecond is the whole second of true UTC that begins next, or now.
func (w *World) nextSecond() timescale.UTC {
	return (w.utc + timescale.UTC(timescale.Second) - 1) / timescale.UTC(timescale.Second) * timescale.UTC(timescale.Second)
}

// carry puts a piece on its way through the link.
func (w *World) carry(p piece) {
	l := &w.link
	p.at = p.at.Add(l.Behind)
	if l.Grain > 0 {
		p.at = (p.at + timescale.UTC(l.Grain) - 1) / timescale.UTC(l.Grain) * timescale.UTC(l.Grain)
	}
	if l.Busy > 0 {
		p.at = w.transit.read(p.at, func() (time.Duration, time.Duration) {
			return time.Duration(w.odd.ExpFloat64() * float64(20*time.Second)), time.Duration(w.odd.Float64() * float64(l.Busy))
		})
	}
	if l.Grain > 0 || l.Busy > 0 || l.Behind > 0 || w.transit.last > p.at {
		p.at = max(p.at, w.transit.last)
		w.transit.last = p.at
	}
	w.line = append(w.line, p)
	if l.Twice > 0 && w.odd.Float64() < l.Twice {
		w.line = append(w.line, piece{p.at, p.bytes, true})
	}
}

// read is when what comes at an instant is read; draw gives the pause before the next stall
// of the machine, and its length.
func (t *transit) read(at timescale.UTC, draw func() (pause, length time.Duration)) timescale.UTC {
	for at > t.end {
		pause, length := draw()
		t.stall = max(t.end, at).Add(pause)
		t.end = t.stall.Add(length)
	}
	if at >= t.stall {
		return t.end
	}
	return at
}

// relink changes the way of the bytes. What is under way on a slower one comes at once.
func (w *World) relink(l Link) {
	sooner := max(w.link.Behind-l.Behind, 0)
	for i := range w.line {
		w.line[i].at = max(w.line[i].at.Add(-sooner), w.utc)
	}
	w.link, w.transit.last = l, w.utc
	if n := len(w.line); n > 0 {
		w.transit.last = max(w.utc, w.line[n-1].at)
	}
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
		Baud: w.baud(), Relay: w.link.Relay}, w.local)
}

func (w *World) baud() int {
	if w.s.Receiver.Baud != 0 {
		return w.s.Receiver.Baud
	}
	return 9600
}
