package page

import (
	"bytes"
	"encoding/json"
	"html/template"
	"net/http"
	"path"
	"time"

	"noonmark/clockcheck/timescale"
)

const (
	maxStreams   = 400             // as many as the server of the page has places
	writeTimeout = 5 * time.Second // a reader that takes nothing for so long is let go
	// policy lets the page load what it brings itself, run nothing inline, send
	// forms to itself only, and be framed by nobody.
	policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
		"manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

var types = map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
	".webmanifest": "application/manifest+json"}

func (p *Page) routes() {
	p.mux = http.NewServeMux()
	p.mux.HandleFunc("GET /{$}", p.home)
	p.mux.HandleFunc("GET /live", p.live)
	p.mux.HandleFunc("GET /exchange", p.exchange)
	p.mux.HandleFunc("GET /look", p.look)
	p.handRoutes()
	for _, name := range []string{"page.css", "page.js", "worker.js", "icon.svg", "page.webmanifest"} {
		p.mux.HandleFunc("GET /"+name, p.asset)
	}
}

// ServeHTTP serves the page and what it needs.
func (p *Page) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	p.mux.ServeHTTP(w, r)
}

func (p *Page) asset(w http.ResponseWriter, r *http.Request) {
	b, err := assets.ReadFile("assets" + path.Clean(r.URL.Path))
	if err != nil {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", types[path.Ext(r.URL.Path)])
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(b))
}

// document is what the layout draws.
type document struct {
	*view
	Parts  map[string]template.HTML
	Gone   bool
	Look   string
	Looks  []look
	Speed  float64
	Hand   []Signal // the choice, if anything can be done by hand
	ByHand bool
}

type look struct {
	Name, Word string
	Chosen     bool
}

var looks = []look{{"auto", "Auto", false}, {"day", "Day", false}, {"night", "Night", false}, {"contrast", "Contrast", false}}

// lookOf is the look asked for, "" for what the system prefers.
func lookOf(r *http.Request) string {
	if c, err := r.Cookie("look"); err == nil {
		for _, l := range looks[1:] {
			if l.Name == c.Value {
				return l.Name
			}
		}
	}
	return ""
}

// look keeps the look for this device and goes back to the page.
func (p *Page) look(w http.ResponseWriter, r *http.Request) {
	c := &http.Cookie{Name: "look", Value: "", Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteStrictMode}
	for _, l := range looks[1:] {
		if l.Name == r.FormValue("look") {
			c.Value, c.MaxAge = l.Name, 365*86400
		}
	}
	http.SetCookie(w, c)
	to := "/"
	if mode := r.FormValue("mode"); mode != "" {
		to = "/?mode=" + template.URLQueryEscaper(mode)
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// home draws the whole page.
func (p *Page) home(w http.ResponseWriter, r *http.Request) {
	d, err := p.document(r)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	var b bytes.Buffer
	if err := templates.ExecuteTemplate(&b, "page.html", d); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(b.Bytes())
}

func (p *Page) document(r *http.Request) (*document, error) {
	d := &document{view: &view{Live: true, CautionPlace: cautionPlace, CautionSender: cautionSender}, Gone: true, Look: lookOf(r), Speed: p.cfg.Speed,
		Parts: make(map[string]template.HTML)}
	if p.cfg.Hand != nil {
		d.Hand, d.ByHand = p.cfg.Hand.Signals(), true
	}
	for _, l := range looks {
		l.Chosen = l.Name == d.Look || d.Look == "" && l.Name == "auto"
		d.Looks = append(d.Looks, l)
	}
	f := p.latest.Load()
	if !p.fresh(f) {
		return d, nil
	}
	d.Gone = false
	v := p.hold(p.known(r.FormValue("mode")))
	defer p.drop(v)
	v.mu.Lock()
	defer v.mu.Unlock()
	if err := p.draw(v, f); err != nil {
		return nil, err
	}
	shown := v.view
	d.view = &shown
	for name, html := range v.html {
		d.Parts[name] = template.HTML(html) // drawn by our own templates
	}
	return d, nil
}

// live sends events until the reader leaves or takes nothing.
func (p *Page) live(w http.ResponseWriter, r *http.Request) {
	if !p.enter() {
		w.Header().Set("Retry-After", "10")
		http.Error(w, "Too many screens are open: close one.", http.StatusServiceUnavailable)
		return
	}
	defer p.leave()
	v := p.hold(p.known(r.FormValue("mode")))
	defer p.drop(v)
	out := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	send := func(b []byte) bool {
		if out.SetWriteDeadline(time.Now().Add(writeTimeout)) != nil {
			return false // a writer that cannot be given up on would hold us for ever
		}
		_, err := w.Write(b)
		return err == nil && out.Flush() == nil
	}
	if !send([]byte("retry: 1000\n\n")) {
		return
	}
	for seen := int64(0); ; {
		f, changed := p.current()
		if p.fresh(f) {
			b, now, err := p.event(v, f, seen)
			if err != nil || len(b) > 0 && !send(b) {
				return
			}
			seen = now
		}
		select {
		case <-changed:
		case <-r.Context().Done():
			return
		}
	}
}

func (p *Page) enter() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.streams >= maxStreams {
		return false
	}
	p.streams++
	return true
}

func (p *Page) leave() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.streams--
}

// exchange is one round of comparing clocks: when the question came and when the
// answer left, in milliseconds of this machine's own timescale.
func (p *Page) exchange(w http.ResponseWriter, r *http.Request) {
	came := p.cfg.Now()
	w.Header().Set("Content-Type", "application/json")
	ms := func(l timescale.Local) float64 { return float64(l) / 1e6 }
	json.NewEncoder(w).Encode(map[string]float64{"came": ms(came), "left": ms(p.cfg.Now())})
}
