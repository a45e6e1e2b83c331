package page

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"maps"
	"sync"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

//go:embed assets
var assets embed.FS

var templates = template.Must(template.ParseFS(assets, "assets/*.html"))

// A part is a piece of the glance, an element with its name as id: drawn by the template of
// that name, sent again when it has changed, and no sooner than every after the last time
// unless the verdict has changed.
type part struct {
	name  string
	every time.Duration
}

var parts = []part{{"head", 0}, {"scale", 0}, {"needle", 2 * time.Second}, {"foot", 0}, {"ring", 5 * time.Second}, {"place", 2 * time.Second},
	{"lamps", 0}, {"modes", 0}, {"say", 0}}

// variant is the glance for one mode, drawn once for all who look at it.
type variant struct {
	mode  string // "" = the station's mode in use
	users int    // under Page.mu

	mu    sync.Mutex
	seq   int64 // of the frame drawn
	prev  int64 // of the one before
	view  view
	html  map[string]string
	since map[string]int64 // the frame in which a part was last changed
	sent  map[string]timescale.Local
	head  event
	delta *sent // leads from the frame before to this one
}

// known is mode if it is judged now, else "": nobody makes us keep what he likes.
func (p *Page) known(mode string) string {
	if f := p.latest.Load(); f != nil {
		for _, m := range f.snap.Modes {
			if m.Mode == mode {
				return mode
			}
		}
	}
	return ""
}

// hold finds the variant of a mode and counts the holder; give it back to drop.
func (p *Page) hold(mode string) *variant {
	p.mu.Lock()
	defer p.mu.Unlock()
	v := p.variants[mode]
	if v == nil {
		v = &variant{mode: mode, html: make(map[string]string), since: make(map[string]int64), sent: make(map[string]timescale.Local)}
		p.variants[mode] = v
	}
	v.users++
	return v
}

func (p *Page) drop(v *variant) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if v.users--; v.users == 0 {
		delete(p.variants, v.mode)
	}
}

// draw brings v up to frame f. The caller holds v.mu.
func (p *Page) draw(v *variant, f *frame) error {
	if f.seq <= v.seq {
		return nil
	}
	was := v.view
	v.view = p.viewOf(f, f.mode(v.mode))
	turned := was.Verdict != v.view.Verdict || was.Mode != v.view.Mode || was.Live != v.view.Live
	for _, t := range parts {
		if !turned && f.made.Sub(v.sent[t.name]) < t.every {
			continue
		}
		var b bytes.Buffer
		if err := templates.ExecuteTemplate(&b, t.name, &v.view); err != nil {
			return fmt.Errorf("page: %w", err)
		}
		if html := b.String(); html != v.html[t.name] || v.since[t.name] == 0 {
			v.html[t.name], v.since[t.name], v.sent[t.name] = html, f.seq, f.made
		}
	}
	v.head = p.eventOf(f, &v.view)
	v.prev, v.seq, v.delta = v.seq, f.seq, nil
	return nil
}

func (p *Page) eventOf(f *frame, v *view) event {
	e := event{Run: p.run, Seq: f.seq, BootMS: millis(f.made), Live: v.Live, State: v.Verdict, Caution: v.Caution}
	if p.cfg.Speed != 1 {
		e.Speed = p.cfg.Speed
	}
	if f.knows {
		utc := float64(f.utc/100_000) / 10
		e.UTCMS = &utc
	}
	rounded := func(s status.Float) *float64 {
		if !s.OK {
			return nil
		}
		ms := float64(int64(s.V*1000+0.999)) / 1000 // up: a bound
		return &ms
	}
	e.BoundS, e.GuardS = rounded(f.snap.Clock.BoundS), rounded(f.snap.Clock.GuardS)
	return e
}

// changes are the parts that differ from what they were at frame seen.
func (v *variant) changes(seen int64) map[string]string {
	out := maps.Clone(v.html)
	maps.DeleteFunc(out, func(name, _ string) bool { return v.since[name] <= seen })
	return out
}

// event is what somebody needs who was last told of frame seen; now is the frame told of.
// again asks for one even if nothing has come since.
func (p *Page) event(v *variant, f *frame, seen int64, again bool) (e *sent, now int64, err error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if err := p.draw(v, f); err != nil {
		return nil, seen, err
	}
	if seen >= v.seq && !again {
		return nil, seen, nil
	}
	// Who was told by another variant, before this one began, may lack what never
	// changed since: only what this one has seen itself counts.
	common := seen == v.prev && seen != 0
	if common && v.delta != nil {
		return v.delta, v.seq, nil
	}
	h := v.head
	h.Parts = v.changes(seen)
	if e, err = p.encode(h); err == nil && common {
		v.delta = e
	}
	return e, v.seq, err
}
