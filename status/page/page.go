// Package page is the operator's screen: a page for a tablet or phone on the
// station's own network, made on the server and kept live by a stream.
//
// Updates come in from the one loop that owns the station (Put, which never
// waits for a reader); HTML, drawings and events go out, through an
// http.Handler whose methods may be called from any goroutine. Rules:
//
//   - The page never shows a verdict older than staleAfter: the server leaves it
//     out; the script judges each by the station's own instant in it, which it ties
//     to its device's count by two-way exchanges, and covers what may be older;
//     without the script an animation of the style sheet hides it.
//   - Whether the clock is real or simulated travels with each event.
//   - Without its script it is a plain page that loads itself again.
//   - Everything comes from this handler; what is inline is named by its hash.
//   - A frame is drawn once for all who look at the same mode, and only while
//     somebody looks.
package page

import (
	"crypto/rand"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// Period is the shape of a mode's transmit/receive period, seconds.
type Period struct {
	OffsetS float64 // start of the transmission
	LengthS float64 // of the transmission; the gap follows it
}

// Row is a line of a table: a name and what it says.
type Row struct{ Name, Value string }

// Help is where the manual explains the row, "" where it does not.
func (r Row) Help() string {
	if at := rowHelp[r.Name]; at != "" {
		return help + at
	}
	return ""
}

var rowHelp = map[string]string{"System clock": "how-far-off-the-clock-is", "Worst case": "the-worst-case", "Oscillator gains": "oscillator",
	"Confirmed": "confirmed", "UTC comes from": "where-utc-comes-from", "Steering": "steering"}

// Satellite is one satellite in view.
type Satellite struct {
	Name         string  // e.g. "GPS 12"
	ElevationDeg float64 // negative = not known
	AzimuthDeg   float64 // negative = not known
	CN0DBHz      float64 // carrier to noise density, negative = not tracked
}

// Ahead is how far the clock may be off some time from now if no reading ever
// came again.
type Ahead struct{ AfterS, ErrorS, GuardS float64 }

// Distances is the printed table: from here, in each direction, which locator
// lies at which distance.
type Distances struct {
	Km   []string
	Rows []DistanceRow
}

// DistanceRow is one direction of the table.
type DistanceRow struct {
	Heading string
	Locator []string
}

// Square is the six-character square around a position. The zero Square is none.
type Square struct {
	East, North float64 // of the position within the square, 0 to 1 from its south-west corner
	WidthM      float64
	HeightM     float64
}

// Update is what the owner of the station hands over. The page copies what it
// keeps.
type Update struct {
	Snapshot   *status.Snapshot
	At         timescale.Local // this machine's own timescale at the judgement
	Satellites []Satellite
	Ahead      []Ahead
	Facts      []Row // about devices and power
}

// Config is what the page is told once.
type Config struct {
	Now   func() timescale.Local // this machine's own timescale
	Boot  func() timescale.Local // the boot clock, which counts suspend; nil = Now
	Speed float64                // station seconds in a second; 1 but in a simulation
	// Periods by mode name; a mode without one has no ring.
	Periods map[string]Period
	// Place gives the coordinate forms and the distance table of a position, at the
	// judged UTC (0 = not known), and what a compass and the sun do there.
	Place func(status.Position, timescale.UTC) (forms, around []Row, d Distances)
	// Square gives the six-character square around a position; nil = none is drawn.
	Square func(status.Position) Square
	Hand   Hand // nil = nothing can be done by hand
}

const (
	staleAfter = 3 * time.Second        // no verdict older than this is shown
	frameEvery = 900 * time.Millisecond // frames come no faster; the service ticks each second
	fastEvery  = 240 * time.Millisecond // the same while a simulation runs faster than real time
)

// Page serves the page. Make one with New.
type Page struct {
	cfg     Config
	mux     *http.ServeMux
	latest  atomic.Pointer[frame]
	record  history
	run     string          // names this run of the page in what it sends
	seq     int64           // owner only
	lastPut timescale.Local // owner only

	mu       sync.Mutex
	changed  chan struct{} // closed when a frame has come
	variants map[string]*variant
	streams  int
	packer   packer
}

// frame is an update, kept; nobody changes it.
type frame struct {
	seq  int64
	made timescale.Local // At on the boot clock
	snap status.Snapshot
	Update
	utc   timescale.UTC // judged, at At
	knows bool          // utc has a meaning
}

// New returns a page without any frame yet.
func New(cfg Config) *Page {
	if cfg.Speed == 0 {
		cfg.Speed = 1
	}
	if cfg.Boot == nil {
		cfg.Boot = cfg.Now
	}
	p := &Page{cfg: cfg, run: rand.Text()[:8], changed: make(chan struct{}), variants: make(map[string]*variant)}
	p.routes()
	return p
}

// Due tells whether the next update would become a frame. One that would not
// need carry the snapshot only.
func (p *Page) Due(now timescale.Local) bool {
	every := frameEvery
	if p.cfg.Speed > 1 {
		every = fastEvery
	}
	return p.seq == 0 || now.Sub(p.lastPut) >= every
}

// Put takes an update; only the station's owner calls it. It waits for nobody
// but a copy of the history.
func (p *Page) Put(u Update) {
	p.record.add(u.Snapshot)
	if !p.Due(u.At) {
		return
	}
	p.record.saw(u.Satellites)
	p.seq++
	p.lastPut = u.At
	f := &frame{seq: p.seq, snap: u.Snapshot.Clone(), Update: u, made: p.cfg.Boot().Add(u.At.Sub(p.cfg.Now()))}
	f.Snapshot = &f.snap
	if c := f.snap.Clock; c.ErrorS.OK && f.snap.Written.SystemUTC.OK {
		f.utc, f.knows = f.snap.Written.SystemUTC.V.Add(-time.Duration(c.ErrorS.V*1e9)), true
	}
	p.latest.Store(f)
	p.mu.Lock()
	defer p.mu.Unlock()
	close(p.changed)
	p.changed = make(chan struct{})
}

// current is the latest frame, nil if there is none, and a channel that is closed
// when the next has come.
func (p *Page) current() (*frame, <-chan struct{}) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.latest.Load(), p.changed
}

// fresh tells whether f may still be believed.
func (p *Page) fresh(f *frame) bool {
	return f != nil && p.cfg.Boot().Sub(f.made) <= staleAfter
}

// Snapshot is the latest status, nil when none is fresh. Nobody may change it.
func (p *Page) Snapshot() *status.Snapshot {
	f := p.latest.Load()
	if !p.fresh(f) {
		return nil
	}
	return &f.snap
}

// mode finds the mode to be shown: the one asked for, else the one in use, else
// the first; nil if none is judged.
func (f *frame) mode(asked string) *status.Mode {
	modes := f.snap.Modes
	pick := -1
	for i := range modes {
		if modes[i].Mode == asked {
			return &modes[i]
		}
		if modes[i].InUse && pick < 0 {
			pick = i
		}
	}
	switch {
	case pick >= 0:
		return &modes[pick]
	case len(modes) > 0:
		return &modes[0]
	}
	return nil
}
