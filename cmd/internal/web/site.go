package web

import (
	"encoding/json"
	"net/http"

	"noonmark/status"
	"noonmark/status/metrics"
	"noonmark/status/page"
)

// Site is all that the page's address serves: the page, and what programs read.
func Site(p *page.Page) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", p)
	mux.HandleFunc("GET /manual/{name...}", manual)
	mux.HandleFunc("GET /metrics", forPrograms(p, metrics.ContentType, func(s *status.Snapshot) ([]byte, error) {
		return metrics.Text(s), nil
	}))
	mux.HandleFunc("GET /status.json", forPrograms(p, "application/json", func(s *status.Snapshot) ([]byte, error) {
		return json.Marshal(s)
	}))
	return mux
}

// forPrograms serves the status, or says that there is none: what is old is never
// served, for a program far away cannot tell by the boot clock.
func forPrograms(p *page.Page, kind string, write func(*status.Snapshot) ([]byte, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		h := w.Header()
		h.Set("Cache-Control", "no-store")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		s := p.Snapshot()
		if s == nil {
			http.Error(w, "No fresh status: noonmark is starting, or hangs.", http.StatusServiceUnavailable)
			return
		}
		b, err := write(s)
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		h.Set("Content-Type", kind)
		w.Write(b)
	}
}
