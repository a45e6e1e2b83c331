package web

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/hostclock"
	"noonmark/status"
	"noonmark/status/page"
)

// TestSite: programs get the status while it is fresh, and nothing of it after; the
// page stays where it was; foreign names are refused (DNS rebinding).
func TestSite(t *testing.T) {
	now := hostclock.Now()
	p := page.New(page.Config{Now: func() timescale.Local { return now }})
	h := ownHost(http.NewCrossOriginProtection().Handler(Site(p)))
	get := func(method, path, host string) *httptest.ResponseRecorder {
		t.Helper()
		r := httptest.NewRequest(method, path, nil)
		r.Host = host
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	check := func(method, path, host string, code int, part string) {
		t.Helper()
		if w := get(method, path, host); w.Code != code || !strings.Contains(w.Body.String(), part) {
			t.Errorf("%s %s at %s: %d %.200q, want %d with %q", method, path, host, w.Code, w.Body, code, part)
		}
	}
	const here = "127.0.0.1:8173"
	check("GET", "/metrics", here, 503, "No fresh status")
	p.Put(page.Update{At: now, Snapshot: &status.Snapshot{Live: true, Clock: status.Clock{Basis: "gnss", ErrorS: status.Known(0.25)}}})
	check("GET", "/metrics", here, 200, "noonmark_clock_error_seconds 0.25\n")
	check("GET", "/status.json", here, 200, `"error_s":0.25`)
	check("GET", "/metrics", "[::1]:8173", 200, "# EOF\n")
	check("GET", "/metrics", "camp.example", 421, "name")
	check("GET", "/status.json", "camp.example:8173", 421, "name")
	check("POST", "/metrics", here, 404, "")
	check("GET", "/nothing", here, 404, "")
	check("GET", "/", here, 200, "<html")
	if got := get("GET", "/metrics", here).Header().Get("Content-Type"); !strings.HasPrefix(got, "application/openmetrics-text; version=1.0.0") {
		t.Errorf("content type %q", got)
	}
	s, err := status.Parse(get("GET", "/status.json", here).Body.Bytes())
	if err != nil || s.Clock.Basis != "gnss" {
		t.Errorf("%+v, %v", s, err)
	}
	now = now.Add(1e10)
	check("GET", "/metrics", here, 503, "No fresh status")
	check("GET", "/status.json", here, 503, "No fresh status")
}
