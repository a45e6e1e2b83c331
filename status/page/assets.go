package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"html/template"
	"io"
	"net/http"
	"path"
	"strings"
	"sync"
)

// asset is a file that never changes while the program runs, and its packed form.
type asset struct {
	plain, packed []byte
	tag, kind     string
}

var kinds = map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
	".webmanifest": "application/manifest+json"}

// files are served as they are; the rest of assets goes into documents. They are made when
// the first page is: packing takes 10 ms and 3 MB, and "ready" needs none of it.
var files = sync.OnceValue(func() map[string]*asset {
	out := make(map[string]*asset)
	w, _ := gzip.NewWriterLevel(io.Discard, gzip.BestCompression) // the level is one there is
	for _, name := range []string{"more.css", "more.js", "icon.svg", "page.webmanifest"} {
		b := lean(text(name))
		hash := sha256.Sum256(b)
		out[name] = &asset{b, pack(w, b), base64.RawURLEncoding.EncodeToString(hash[:9]), kinds[path.Ext(name)]}
	}
	return out
})

// text is an embedded file; that it is there the build has seen.
func text(name string) []byte {
	b, err := assets.ReadFile("assets/" + name)
	if err != nil {
		panic(err)
	}
	return b
}

// lean leaves out what only readers of the source need: lines of comment, and indents.
// No text of ours goes over several lines.
func lean(b []byte) []byte {
	var out []byte
	for line := range bytes.Lines(b) {
		if line = bytes.TrimLeft(line, " \t"); !bytes.HasPrefix(line, []byte("//")) {
			out = append(out, line...)
		}
	}
	return out
}

func pack(w *gzip.Writer, b []byte) []byte {
	var out bytes.Buffer
	w.Reset(&out)
	w.Write(b)
	w.Close()
	return out.Bytes()
}

// The script and the style of the glance stand in the document: a slow link is asked
// once. The policy names each by its hash.
var (
	glanceCSS = lean(text("glance.css"))
	earlyJS   = lean(text("early.js"))
	glanceJS  = lean(text("glance.js"))
)

// policy lets the page load what it brings itself, run nothing inline but the two
// scripts named, send forms to itself only, and be framed by nobody.
var policy = "default-src 'none'; script-src 'self' " + hashOf(earlyJS) + " " + hashOf(glanceJS) + "; style-src 'self' " + hashOf(glanceCSS) +
	"; img-src 'self'; connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

func hashOf(b []byte) string {
	h := sha256.Sum256(b)
	return "'sha256-" + base64.StdEncoding.EncodeToString(h[:]) + "'"
}

// Style, Early and Script are what the layout writes inline.
func (*document) Style() template.CSS { return template.CSS(glanceCSS) }

// Early is the script that covers what is not yet known to be new.
func (*document) Early() template.JS { return template.JS(earlyJS) }

// Script is the script of the glance.
func (*document) Script() template.JS { return template.JS(glanceJS) }

// File is the address of an asset; it changes with what is in it.
func (*document) File(name string) string { return "/" + name + "?v=" + files()[name].tag }

func acceptsGzip(r *http.Request) bool {
	for _, c := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		name, q, _ := strings.Cut(strings.TrimSpace(c), ";")
		if strings.EqualFold(name, "gzip") {
			return strings.ReplaceAll(q, " ", "") != "q=0"
		}
	}
	return false
}

// asset serves a file; one asked for by its tag is never asked for again.
func (p *Page) asset(w http.ResponseWriter, r *http.Request) {
	a := files()[strings.TrimPrefix(r.URL.Path, "/")]
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("ETag", `"`+a.tag+`"`)
	h.Set("Vary", "Accept-Encoding")
	h.Set("Cache-Control", "no-cache")
	if r.FormValue("v") == a.tag {
		h.Set("Cache-Control", "max-age=31536000, immutable")
	}
	if strings.Contains(r.Header.Get("If-None-Match"), a.tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	b := a.plain
	if acceptsGzip(r) {
		h.Set("Content-Encoding", "gzip")
		b = a.packed
	}
	w.Write(b)
}

// answer writes a document made for this request, packed where that is taken.
func answer(w http.ResponseWriter, r *http.Request, b []byte) {
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Vary", "Accept-Encoding")
	if !acceptsGzip(r) {
		w.Write(b)
		return
	}
	h.Set("Content-Encoding", "gzip")
	out := gzip.NewWriter(w)
	out.Write(b)
	out.Close()
}
