package web

import (
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"strings"

	"noonmark/packaging/doc"
)

// Off the grid there is no web: the page's address serves the manual, too. Its pages hold
// nothing of the station and nothing from outside.

// manualLook is the pages' style sheet: large letters, dark or light as the reader's
// device is.
const manualLook = `:root{color-scheme:light dark}
body{font:1.1rem/1.5 system-ui,sans-serif;max-width:44rem;margin:auto;padding:1rem}
pre{overflow-x:auto;padding:.6rem;border:1px solid #8888;border-radius:.4rem}
code{font-family:ui-monospace,monospace}
table{border-collapse:collapse;display:block;overflow-x:auto}
td,th{border:1px solid #8888;padding:.3rem .6rem;text-align:left;vertical-align:top}
img{max-width:100%;height:auto}
nav a{display:inline-block;min-height:2.75rem;padding:.4rem .8rem .4rem 0}
`

const manualPolicy = "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// firstPage is where the manual begins.
const firstPage = "0-start"

// manual serves /manual/, /manual/NAME and the pictures.
func manual(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", manualPolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "max-age=3600")
	name := r.PathValue("name")
	switch path.Ext(name) {
	case ".css":
		h.Set("Content-Type", "text/css; charset=utf-8")
		fmt.Fprint(w, manualLook)
		return
	case ".png", ".svg":
		http.ServeFileFS(w, r, doc.Pages, name)
		return
	case "":
		if name == "" {
			name = firstPage
		}
	}
	// Its links name the Markdown, as in the folder that it was made of.
	text, err := fs.ReadFile(doc.Pages, "html/"+strings.TrimSuffix(name, ".md")+".html")
	if err != nil {
		http.Error(w, "The manual has no such page. It begins at /manual/.", http.StatusNotFound)
		return
	}
	h.Set("Content-Type", "text/html; charset=utf-8")
	w.Write(text)
}
