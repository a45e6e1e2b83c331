package page

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"math"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// The night so far outlives a restart of the program, in one boot: whoever owns the page
// asks for Night now and then, keeps it in memory (the run directory), and gives it to the
// next page by Remember. It is history and nothing else: it makes no frame, so that no
// verdict, no time and no place ever comes from it. What does not hold together is not
// taken up at all.

const nightVersion = "noonmark/night/v1"

// MaxNight is the largest Night, bytes.
const MaxNight = 512 << 10

// pastEvents are so many events of earlier runs.
const pastEvents = 60

// past is an event on the boot clock, s.
type past struct {
	AtS  float64 `json:"at_s"`
	Text string  `json:"text"`
}

// night is what is kept. A number that is not known is left out (null).
type night struct {
	BootID string        `json:"boot_id"`
	Points [][6]*float64 `json:"points"` // at (s of the boot clock), low, high, error, satellites, basis + 100 if somebody is doubted
	Sky    [][2]uint32   `json:"sky"`
	Events []past        `json:"events"`
}

// Night is the record so far, to be given to Remember; nil when there is none.
func (p *Page) Night() []byte {
	f := p.latest.Load()
	if f == nil {
		return nil
	}
	n := night{BootID: f.snap.Written.BootID}
	h := &p.record
	h.mu.Lock()
	n.Events = append(n.Events, h.past...)
	for k := min(h.n, historyLen); k > 0; k-- {
		n.Points = append(n.Points, h.ring[(h.n-k)%historyLen].numbers())
	}
	for _, c := range h.sky {
		n.Sky = append(n.Sky, [2]uint32{c.seen, c.heard})
	}
	h.mu.Unlock()
	n.Events = append(n.Events, pastOf(f)...)
	n.Events = n.Events[max(len(n.Events)-pastEvents, 0):]
	body, err := json.Marshal(n)
	if err != nil {
		return nil // not reached: numbers and texts only
	}
	return append(fmt.Appendf(nil, "%s %08x\n", nightVersion, crc32.ChecksumIEEE(body)), body...)
}

// pastOf dates a frame's events on the boot clock.
func pastOf(f *frame) []past {
	var out []past
	for _, e := range f.snap.Events {
		if f.knows && e.UTC.OK {
			out = append(out, past{f.snap.Written.BoottimeS - f.utc.Sub(e.UTC.V).Seconds(), status.Clean(e.Text)})
		}
	}
	return out
}

// numbers writes a point; read reads it back.
func (q point) numbers() (out [6]*float64) {
	basis := float64(q.basis)
	if q.doubt {
		basis += 100
	}
	for i, v := range []float64{q.at.Sub(0).Seconds(), float64(q.low), float64(q.high), float64(q.err), float64(q.satellites), basis} {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			v = math.Round(v*1e4) / 1e4
			out[i] = &v
		}
	}
	return out
}

func pointFrom(n [6]*float64) (q point, ok bool) {
	if n[0] == nil || n[4] == nil || n[5] == nil {
		return q, false
	}
	known := func(v *float64) float32 {
		if v == nil {
			return float32(math.NaN())
		}
		return float32(*v)
	}
	basis := *n[5]
	q.doubt = basis >= 100
	if q.doubt {
		basis -= 100
	}
	if !(*n[0] >= 0 && *n[0] < 1e9 && *n[4] >= -1 && *n[4] < 100 && basis >= 0 && basis < float64(len(bases))) {
		return q, false
	}
	q.at, q.low, q.high, q.err = timescale.Local(*n[0]*1e9), known(n[1]), known(n[2]), known(n[3])
	q.satellites, q.basis = int8(*n[4]), byte(basis)
	return q, true
}

// Remember takes up what an earlier run kept, before the first Put. now is this machine's
// boot clock. An error says why there is nothing to take up.
func (p *Page) Remember(b []byte, bootID string, now timescale.Local) error {
	n, err := parseNight(b)
	switch {
	case err != nil:
		return err
	case n.BootID == "" || n.BootID != bootID:
		return errors.New("page: the night that was kept is of another boot")
	case len(n.Points) > historyLen || len(n.Sky) != len(p.record.sky) || len(n.Events) > pastEvents:
		return errors.New("page: the night that was kept is not of this version")
	}
	h := &history{}
	for _, row := range n.Points {
		q, ok := pointFrom(row)
		if !ok || q.at > now || h.n > 0 && q.at < h.ring[h.n-1].at {
			return errors.New("page: the night that was kept does not hold together")
		}
		h.ring[h.n] = q
		h.n++
	}
	for i, c := range n.Sky {
		h.sky[i].seen, h.sky[i].heard = c[0], c[1]
	}
	for _, e := range n.Events {
		if !(e.AtS >= 0 && e.AtS <= now.Sub(0).Seconds()) {
			return errors.New("page: an event that was kept is of the future")
		}
		h.past = append(h.past, past{e.AtS, status.Clean(e.Text)})
	}
	if h.n > 0 { // nobody watched meanwhile: a hole, not a line
		nan := float32(math.NaN())
		h.ring[h.n%historyLen] = point{at: min(h.ring[h.n-1].at.Add(historyStepS*1e9), now), low: nan, high: nan, err: nan, satellites: -1}
		h.n++
	}
	p.record.mu.Lock()
	defer p.record.mu.Unlock()
	p.record.ring, p.record.n, p.record.sky, p.record.past = h.ring, h.n, h.sky, h.past
	return nil
}

func parseNight(b []byte) (n night, err error) {
	head, body, ok := bytes.Cut(b, []byte("\n"))
	if !ok || len(b) > MaxNight || string(head) != fmt.Sprintf("%s %08x", nightVersion, crc32.ChecksumIEEE(body)) {
		return n, errors.New("page: the night that was kept is damaged, or of another version")
	}
	if err := json.Unmarshal(body, &n); err != nil {
		return n, fmt.Errorf("page: the night that was kept: %w", err)
	}
	return n, nil
}
