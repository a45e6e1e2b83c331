package world

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/gnss/gnsstest"
)

// Pulse is the receiver's pulse of the story.
type Pulse struct {
	Width    time.Duration // 0 = the receiver has no pulse
	Inverted bool          // the second is the falling edge
	Jitter   time.Duration // sd
	Late     time.Duration // interrupt latency, cable
	Missing  float64       // chance that an edge is lost
	Spurious float64       // chance of an edge that is none, each second
	FreePPM  float64       // without a fix it runs on, and gains so much
}

// pulsing is the pulse's state.
type pulsing struct {
	off     time.Duration // it comes so late against UTC
	clear   timescale.UTC // when the pulse under way ends
	dragged time.Duration // by a false signal
	moved   time.Duration // by the story
}

// pulse delivers the edges of the second that ends now.
func (w *World) pulse(scene gnsstest.Scene) {
	p := &w.s.Pulse
	if p.Width == 0 || w.s.NoReceiver || scene.Unplugged || !w.opened {
		return
	}
	q := &w.pulsing
	if scene.Satellites < 3 {
		q.off -= time.Duration(p.FreePPM * 1e3)
	} else {
		q.off = 0
	}
	if q.dragged += scene.FalseDrag; scene.FalseTime == 0 && scene.FalseDrag == 0 {
		q.dragged = 0
	}
	away := (scene.FalseTime + q.dragged) % time.Second
	second := w.utc / timescale.UTC(timescale.Second) * timescale.UTC(timescale.Second)
	at := second.Add(q.off + q.moved - away + p.Late + time.Duration(math.Abs(w.rng.NormFloat64())*float64(p.Jitter)))
	first, last := clockcheck.EdgeAssert, clockcheck.EdgeClear
	if p.Inverted {
		first, last = last, first
	}
	w.edge(last, q.clear)
	if w.rng.Float64() < p.Spurious {
		w.edge(first, w.utc.Add(-time.Duration(w.rng.Int64N(timescale.Second))))
	}
	w.edge(first, at)
	q.clear = at.Add(p.Width)
}

// edge gives the station one edge, stamped on the local timescale.
func (w *World) edge(e clockcheck.Edge, at timescale.UTC) {
	if at == 0 || w.rng.Float64() < w.s.Pulse.Missing {
		return
	}
	d := float64(at.Sub(w.utc))
	w.Station.Pulse(w.local.Add(time.Duration(d*(1+w.rate()*1e-6))), e, time.Microsecond)
}
