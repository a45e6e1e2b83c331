package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// A false signal can lead a receiver away slowly, each reading within the gate of
// the one before. What it cannot lead away is the oscillator: so the filter is
// kept as it was one to two hours ago, runs on without the receiver, and the
// receiver must stay within what that holdover allows. With a learned rate a drag
// of 200 ppm (12 ms a minute) or more is seen before the error leaves the guard;
// one of 40 ppm is seen within two hours, after the error has left the guard by
// up to some 0.1 s; what stays below the oscillator's own wander is never seen.
// While the rate is unlearned (first minutes) the figures are several times worse.
const (
	keepEvery  = time.Hour
	lookEvery  = 10 * time.Second
	firstKeep  = 2 * time.Minute // the stream settles first
	dragFloorS = 0.060           // s: jitter and bimodal bursts are no drag
)

// watch holds two former states of the filter, the older of which counts.
type watch struct {
	old, young filter
	kept       timescale.Local // when young was kept
	looked     timescale.Local
	have       bool
}

// drag looks whether the receiver has been led away since the older state was
// kept. If so that state is taken up again, and drag reports by how much.
func (j *Judge) drag(at timescale.Local, z int64) (s float64, dragged bool) {
	w := &j.watch
	switch {
	case !w.have && at.Sub(j.rx.since) >= firstKeep:
		w.old, w.young, w.kept, w.have = j.f, j.f, at, true
		return 0, false
	case !w.have || at.Sub(w.looked) < lookEvery || !j.on(RuleDrag):
		return 0, false
	}
	w.looked = at
	was := w.old
	was.advance(at)
	want, v := was.sum(sD, -1)
	nu := float64(z-was.base)/1e9 - float64(j.rx.ahead) - want
	if math.Abs(nu) > dragFloorS+guardZ*math.Sqrt(v+j.rx.jitter) {
		j.f, w.have = was, false
		return nu, true
	}
	if at.Sub(w.kept) >= keepEvery {
		w.old, w.young, w.kept = w.young, j.f, at
	}
	return 0, false
}

// shift moves UTC by s: former states of the filter no longer compare.
func (j *Judge) shift(s float64) {
	j.f.shift(s)
	j.watch = watch{}
}
