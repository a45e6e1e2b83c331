package page

import (
	"math"
	"sync"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

const (
	historyStepS = 20   // one point stands for so many seconds
	historyLen   = 2880 // sixteen hours
)

// point is the worst of historyStepS seconds. NaN = not known.
type point struct {
	at         timescale.Local // of the station's boot clock, as ns
	low, high  float32         // error − guard, error + guard: the outermost, s
	err        float32         // s
	satellites int8            // −1 = not known
	basis      byte            // index into bases
	doubt      bool            // some reference is doubted or faulty
}

var bases = []string{status.BasisNone, status.BasisHoldover, status.BasisRTC, status.BasisOperator, status.BasisNetwork, status.BasisGNSS, status.BasisPPS}

// history is a ring of points, the past of one station since the computer's start.
type history struct {
	mu   sync.Mutex
	ring [historyLen]point
	n    int // points ever begun
	sky  skyRecord
	past []past // events of earlier runs of the program
}

// saw adds the satellites of a frame.
func (h *history) saw(sats []Satellite) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.sky.add(sats)
}

// horizon is a copy of the record of the sky.
func (h *history) horizon() skyRecord {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.sky
}

// earlier is what happened in earlier runs, dated by what is known of UTC now.
func (h *history) earlier(f *frame) []status.Event {
	h.mu.Lock()
	defer h.mu.Unlock()
	var out []status.Event
	for _, e := range h.past {
		if f.knows {
			ago := f.snap.Written.BoottimeS - e.AtS
			out = append(out, status.Event{UTC: status.At(f.utc.Add(-time.Duration(ago * 1e9))), Kind: "earlier", Text: e.Text})
		}
	}
	return out
}

// add takes a snapshot. Within one point the outermost edges are kept, so that
// thinning hides no excursion.
func (h *history) add(s *status.Snapshot) {
	at := timescale.Local(s.Written.BoottimeS * 1e9)
	p := pointOf(s, at)
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.n > 0 {
		last := &h.ring[(h.n-1)%historyLen]
		if passed := at.Sub(last.at).Seconds(); passed >= 0 && passed < historyStepS {
			last.merge(p)
			return
		}
	}
	h.ring[h.n%historyLen] = p
	h.n++
}

func pointOf(s *status.Snapshot, at timescale.Local) point {
	nan := float32(math.NaN())
	p := point{at: at, low: nan, high: nan, err: nan, satellites: -1, basis: index(bases, s.Clock.Basis)}
	if c := s.Clock; c.ErrorS.OK {
		p.err = float32(c.ErrorS.V)
		if c.GuardS.OK {
			p.low, p.high = float32(c.ErrorS.V-c.GuardS.V), float32(c.ErrorS.V+c.GuardS.V)
		}
	}
	for _, r := range s.References {
		p.doubt = p.doubt || r.Trust == status.Doubted || r.Trust == status.Faulty
	}
	if q := s.Position; q != nil && q.Satellites.OK && q.Fix != "none" {
		p.satellites = int8(min(q.Satellites.V, 99))
	} else if q != nil {
		p.satellites = 0
	}
	return p
}

func index(words []string, w string) byte {
	for i := range words {
		if words[i] == w {
			return byte(i)
		}
	}
	return 0
}

// merge widens p by q: unknown is the worst, then the outermost edges.
func (p *point) merge(q point) {
	p.low = worst(p.low, q.low, math.Min)
	p.high = worst(p.high, q.high, math.Max)
	p.err, p.satellites = q.err, q.satellites
	p.basis, p.doubt = min(p.basis, q.basis), p.doubt || q.doubt
}

func worst(a, b float32, pick func(x, y float64) float64) float32 {
	return float32(pick(float64(a), float64(b))) // NaN wins in both math.Min and math.Max
}

// last copies the points of the last spanS seconds, thinned to at most n, oldest
// first.
func (h *history) last(spanS float64, n int) []point {
	h.mu.Lock()
	defer h.mu.Unlock()
	count := min(h.n, historyLen)
	if count == 0 {
		return nil
	}
	newest := h.ring[(h.n-1)%historyLen].at
	for count > 1 && newest.Sub(h.ring[(h.n-count)%historyLen].at).Seconds() > spanS {
		count--
	}
	group := (count + n - 1) / n
	out := make([]point, 0, n+1)
	for k := count; k > 0; k-- {
		// Groups are counted from the station's start, so that a drawing does not
		// tremble as it moves on.
		i := h.n - k
		if p := h.ring[i%historyLen]; i%group == 0 || len(out) == 0 {
			out = append(out, p)
		} else {
			out[len(out)-1].merge(p)
		}
	}
	return out
}
