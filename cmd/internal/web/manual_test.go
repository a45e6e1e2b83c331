package web

import (
	"io/fs"
	"net/http"
	"net/http/httptest"
	"path"
	"regexp"
	"strings"
	"testing"

	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/hostclock"
	"noonmark/packaging/doc"
	"noonmark/status"
	"noonmark/status/page"
)

// Every page of the manual is served, each of its links leads somewhere, also to the
// paragraph named, and nothing comes from outside.
func TestManual(t *testing.T) {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /manual/{name...}", manual)
	s := httptest.NewServer(mux)
	defer s.Close()
	get := func(p string) (int, string) { return clitest.Get(t, s.URL+p) }
	pages, err := fs.Glob(doc.Pages, "html/*.html")
	if err != nil || len(pages) < 8 {
		t.Fatalf("%d pages, %v", len(pages), err)
	}
	links := regexp.MustCompile(`(?:href|src)="?([^"> ]+)`)
	for _, name := range pages {
		at := "/manual/" + strings.TrimSuffix(path.Base(name), ".html")
		code, text := get(at)
		if code != 200 || !strings.Contains(text, "<h1") || strings.Contains(text, "<!-- ") || strings.Contains(text, "raw HTML omitted") {
			t.Errorf("%s: %d\n%.300s", at, code, text)
		}
		for _, m := range links.FindAllStringSubmatch(text, -1) {
			to, part, _ := strings.Cut(m[1], "#")
			if to == "/" || strings.HasPrefix(to, "http://127.0.0.1") {
				continue
			}
			if strings.Contains(to, "://") {
				t.Errorf("%s leads out: %s", at, to)
				continue
			}
			if !strings.HasPrefix(to, "/") {
				to = path.Join("/manual", to)
			}
			code, there := get(to)
			if code != 200 || part != "" && !strings.Contains(there, `id="`+part+`"`) {
				t.Errorf("%s: %s leads nowhere (%d)", at, m[1], code)
			}
		}
	}
	for _, name := range status.ManualNames() { // each lamp and each number has its paragraph
		to, part, _ := strings.Cut(status.Manual(name), "#")
		code, there := get(to)
		if paragraph := regexp.MustCompile(`<h2 id="` + part + `">[^<]+</h2>\s*<p>[^<]{20}`); code != 200 || part == "" || !paragraph.MatchString(there) {
			t.Errorf("%s: no paragraph at %s", name, status.Manual(name))
		}
	}
	if to := status.Manual("nosuch"); to != "" {
		t.Errorf("a paragraph on nothing: %s", to)
	}
	if code, _ := get("/manual/nosuch"); code != 404 {
		t.Errorf("no such page: %d", code)
	}
	if code, text := get("/manual/"); code != 200 || !strings.Contains(text, "What to do when it says Not sure") {
		t.Errorf("the beginning: %d", code)
	}
	if code, text := get("/manual/look.css"); code != 200 || !strings.Contains(text, "color-scheme") {
		t.Errorf("the look: %d", code)
	}
}

// TestHelpLeadsSomewhere: each lamp, number and part of the page leads to a paragraph of
// the manual that is there.
func TestHelpLeadsSomewhere(t *testing.T) {
	p := NewPage(1, byHandOf{})
	now := hostclock.Now()
	s := status.Snapshot{Live: true, Clock: status.Clock{Basis: "gnss", ErrorS: status.Known(0.01), BoundS: status.Known(0.1), GuardS: status.Known(0.2), RatePPM: status.Known(1), RateBoundPPM: status.Known(1)},
		Problems: []status.Problem{{Kind: "hook", Text: "x"}}}
	p.Put(page.Update{At: now, Snapshot: &s})
	h := Site(p)
	get := func(path string) string {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		if w.Code != 200 {
			t.Fatalf("%s: %d", path, w.Code)
		}
		return w.Body.String()
	}
	manual := get("/manual/8-page")
	seen := map[string]bool{}
	// The script's own list: name: "place",
	script := regexp.MustCompile(`const explains = \{([^}]*)\}`).FindStringSubmatch(get("/more.js"))
	if script == nil {
		t.Fatal("the script explains nothing")
	}
	for _, m := range regexp.MustCompile(`"([a-z-]+)"`).FindAllStringSubmatch(script[1], -1) {
		seen[m[1]] = true
	}
	for _, m := range regexp.MustCompile(`/manual/8-page#([a-z-]+)`).FindAllStringSubmatch(get("/")+get("/more?part=1")+get("/hand")+get("/more.js"), -1) {
		seen[m[1]] = true
	}
	if len(seen) < 20 {
		t.Errorf("only %d places are explained: %v", len(seen), seen)
	}
	for at := range seen {
		if !strings.Contains(manual, `id="`+at+`"`) {
			t.Errorf("no paragraph for %s", at)
		}
	}
}

// byHandOf is somebody who does nothing.
type byHandOf struct{ page.Hand }

func (byHandOf) Signals() []page.Signal { return nil }
func (byHandOf) Timed() []string        { return nil }
