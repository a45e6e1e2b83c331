package page

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"sync"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

//go:embed assets
var assets embed.FS

var templates = template.Must(template.ParseFS(assets, "assets/*.html"))

// A part is a piece of the page with an id of its own: drawn by the template of
// its name, sent again when it has changed.
type part struct {
	name  string
	every time.Duration // drawn no more often; at once when a verdict changes
}

const (
	details  = 5 * time.Second
	pictures = 10 * time.Second
)

var parts = []part{{"verdict", 0}, {"ring", details}, {"until", 0}, {"place", 0}, {"because", 0}, {"chips", 0},
	{"references", details}, {"clock", details}, {"position", details}, {"sky", details}, {"facts", details}, {"events", 0},
	{"distances", details}, {"narrow", pictures}, {"wide", pictures}}

// variant is the page for one mode, drawn once for all who look at it.
type variant struct {
	mode  string
	users int // under Page.mu

	mu    sync.Mutex
	seq   int64 // of the frame drawn
	said  string
	view  view
	drawn map[string]timescale.Local
	html  map[string]string
	delta []byte // event that leads from the frame before to this one
	prev  int64  // that frame
	full  []byte // event with everything; nil until somebody needs it
	head  event
}

// event is what the stream says of a frame. Times are milliseconds: At on this
// machine's own timescale, UTC as judged at At.
type event struct {
	Seq     int64             `json:"seq"`
	AtMS    float64           `json:"at"`
	UTCMS   *float64          `json:"utc"` // null = not known
	Speed   float64           `json:"speed"`
	Live    bool              `json:"live"`
	BoundS  *float64          `json:"bound"` // 99 %
	Verdict string            `json:"verdict"`
	Say     string            `json:"say"` // for who cannot see
	Parts   map[string]string `json:"parts"`
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
		v = &variant{mode: mode, drawn: make(map[string]timescale.Local), html: make(map[string]string)}
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
	m := f.mode(v.mode)
	v.view = p.viewOf(f, m)
	said := v.view.Mode
	for _, c := range v.view.Chips {
		said += " " + c.Verdict
	}
	changed := make(map[string]string)
	for _, t := range parts {
		if at, ok := v.drawn[t.name]; ok && said == v.said && f.At.Sub(at) < t.every {
			continue
		}
		if t.every == pictures && v.view.Narrow == nil && m != nil {
			p.drawPictures(v, f, m)
		}
		v.drawn[t.name] = f.At
		var b bytes.Buffer
		if err := templates.ExecuteTemplate(&b, t.name, &v.view); err != nil {
			return fmt.Errorf("page: %w", err)
		}
		if html := b.String(); html != v.html[t.name] {
			v.html[t.name], changed[t.name] = html, html
		}
	}
	v.said = said
	v.head = eventOf(f, p.cfg.Speed, &v.view)
	e := v.head
	e.Parts = changed
	delta, err := encode(e)
	if err != nil {
		return err
	}
	v.prev, v.seq, v.delta, v.full = v.seq, f.seq, delta, nil
	return nil
}

func (p *Page) drawPictures(v *variant, f *frame, m *status.Mode) {
	c := chart{points: p.record.last(pastLimitS, 240), ahead: f.Ahead, mode: m, clock: f.snap.Clock, until: v.view.Until}
	narrow, wide := draw(c, 340, "narrow"), draw(c, 760, "wide")
	v.view.Narrow, v.view.Wide = &narrow, &wide
}

func eventOf(f *frame, speed float64, v *view) event {
	e := event{Seq: f.seq, AtMS: float64(f.At) / 1e6, Speed: speed, Live: v.Live, Verdict: v.Verdict,
		Say: v.Mode + ": " + v.Word + ". " + v.Do}
	if f.knows {
		utc := float64(f.utc) / 1e6
		e.UTCMS = &utc
	}
	if b := f.snap.Clock.BoundS; b.OK {
		e.BoundS = &b.V
	}
	return e
}

// encode writes an event as the stream carries it: JSON has no line break.
func encode(e event) ([]byte, error) {
	var b bytes.Buffer
	fmt.Fprintf(&b, "id: %d\ndata: ", e.Seq)
	j := json.NewEncoder(&b)
	j.SetEscapeHTML(false) // it is read as JSON, and is shorter so
	if err := j.Encode(e); err != nil {
		return nil, fmt.Errorf("page: %w", err)
	}
	b.WriteByte('\n')
	return b.Bytes(), nil
}

// event is what somebody needs who was last told of frame seen; now is the frame
// told of.
func (p *Page) event(v *variant, f *frame, seen int64) (b []byte, now int64, err error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if err := p.draw(v, f); err != nil {
		return nil, seen, err
	}
	if seen == v.seq {
		return nil, seen, nil
	}
	if seen == v.prev && seen != 0 {
		return v.delta, v.seq, nil
	}
	if v.full == nil {
		e := v.head
		e.Parts = v.html
		if v.full, err = encode(e); err != nil {
			return nil, seen, err
		}
	}
	return v.full, v.seq, nil
}
