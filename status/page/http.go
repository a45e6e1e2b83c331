package page

import (
	"bytes"
	"encoding/json"
	"html/template"
	"net"
	"net/http"
	"strings"

	"noonmark/status"
)

func (p *Page) routes() {
	p.mux = http.NewServeMux()
	p.mux.HandleFunc("GET /{$}", p.home)
	p.mux.HandleFunc("GET /live", p.live)
	p.mux.HandleFunc("GET /exchange", p.exchange)
	p.mux.HandleFunc("GET /look", p.look)
	for name, layout := range map[string]string{"more": "more.html", "card": "card.html", "hand": "hand.html"} {
		p.mux.HandleFunc("GET /"+name, p.other(layout))
	}
	p.handRoutes()
	for name := range files() {
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

// document is what a layout draws.
type document struct {
	*view
	*details      // nil in the glance
	Parts         map[string]template.HTML
	First         template.JS // the event that the document is made of; null when there is none
	Gone          bool        // no status that may be believed
	Asked         string      // the mode asked for, "" = the one in use
	Part          bool        // a piece of the page, not a document
	Look          string
	Looks         []look
	Speed         float64
	host          string
	Hand          []Signal // the choice, if anything can be done by hand
	Timed         []string // modes whose offsets can be typed
	ByHand        bool
	CautionPlace  string
	CautionSender string
}

// State is the verdict, "gone" without one.
func (d *document) State() string {
	if d.Gone {
		return "gone"
	}
	return d.Verdict
}

// QR is the page's address as a picture, nil where no other device could follow it.
func (d *document) QR() *code {
	name := d.host
	if h, _, err := net.SplitHostPort(name); err == nil {
		name = h
	}
	if ip := net.ParseIP(strings.Trim(name, "[]")); name == "localhost" || ip != nil && ip.IsLoopback() {
		return nil
	}
	return codeOf("http://" + d.host + "/")
}

// Real is "yes" for this computer's clock, "no" for a simulated one, "" when nobody
// can tell.
func (d *document) Real() string {
	switch {
	case d.Gone:
		return ""
	case d.Live:
		return "yes"
	}
	return "no"
}

type look struct {
	Name, Word string
	Chosen     bool
}

var looks = []look{{"auto", "Auto", false}, {"day", "Day", false}, {"sun", "Sun", false}, {"dusk", "Dusk", false}, {"night", "Night", false}}

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

// home draws the glance.
func (p *Page) home(w http.ResponseWriter, r *http.Request) { p.show(w, r, "page.html", nil) }

// other draws another document, which has details too.
func (p *Page) other(layout string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		d := &details{}
		if f := p.latest.Load(); p.fresh(f) {
			v := p.detailsOf(f, f.mode(p.known(r.FormValue("mode"))), r.FormValue("wide") != "")
			d = &v
		}
		p.show(w, r, layout, d)
	}
}

func (p *Page) show(w http.ResponseWriter, r *http.Request, layout string, extra *details) {
	came := p.cfg.Boot()
	d, err := p.document(r, extra, millis(came))
	var b bytes.Buffer
	if err == nil {
		err = templates.ExecuteTemplate(&b, layout, d)
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	answer(w, r, b.Bytes())
}

// first is the event of a document, and when its reader's question came and the answer
// was made: the first round of comparing clocks.
type first struct {
	event
	CameMS float64 `json:"came"`
	LeftMS float64 `json:"left"`
	OwnMS  float64 `json:"own"`
}

func (p *Page) document(r *http.Request, extra *details, came float64) (*document, error) {
	d := &document{view: &view{Verdict: status.Unknown}, details: extra, Gone: true, First: "null", host: r.Host, Asked: p.known(r.FormValue("mode")), Part: r.FormValue("part") != "",
		Look: lookOf(r), Speed: p.cfg.Speed, Parts: make(map[string]template.HTML), CautionPlace: cautionPlace, CautionSender: cautionSender}
	if p.cfg.Hand != nil {
		d.Hand, d.Timed, d.ByHand = p.cfg.Hand.Signals(), p.cfg.Hand.Timed(), true
	}
	for _, l := range looks {
		l.Chosen = l.Name == d.Look || d.Look == "" && l.Name == "auto"
		d.Looks = append(d.Looks, l)
	}
	f := p.latest.Load()
	if !p.fresh(f) {
		return d, nil
	}
	v := p.hold(d.Asked)
	defer p.drop(v)
	v.mu.Lock()
	defer v.mu.Unlock()
	if err := p.draw(v, f); err != nil {
		return nil, err
	}
	shown := v.view
	d.view, d.Gone = &shown, false
	for name, html := range v.html {
		d.Parts[name] = template.HTML(html) // drawn by our own templates
	}
	b, err := json.Marshal(first{v.head, came, millis(p.cfg.Boot()), float64(p.cfg.Now()) / 1e6})
	d.First = template.JS(b) // JSON of ours, with < and > escaped
	return d, err
}
