package page

import (
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"noonmark/status"
)

func (f *fake) get(path string) (int, http.Header, string) {
	f.t.Helper()
	r, err := f.server.Client().Get(f.server.URL + path)
	if err != nil {
		f.t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		f.t.Fatal(err)
	}
	return r.StatusCode, r.Header, string(b)
}

// words is what a page says, without its markup.
func words(html string) string {
	html = regexp.MustCompile(`(?s)<template.*?</template>|<div class="gone"[^>]* hidden>.*?</div>`).ReplaceAllString(html, " ")
	return strings.Join(strings.Fields(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(html, " ")), " ")
}

func TestEachVerdictHasItsWordShapeAndAdvice(t *testing.T) {
	for verdict, want := range map[string][2]string{
		"made up":         {"Unknown", "Do not key up."},
		status.Unknown:    {"Unknown", "Do not key up."},
		status.Outside:    {"Outside", "Do not key up."},
		status.Borderline: {"Borderline", "Do not key up."},
		status.Within:     {"Within", "The clock is right for FT8."},
	} {
		f := newFake(t, func(s *status.Snapshot) { s.Modes[0].Verdict = verdict }, nil)
		_, _, body := f.get("/")
		shape := "s-" + strings.ToLower(want[0])
		if text := words(body); !strings.Contains(text, "FT8 "+want[0]+" "+want[1]) || !strings.Contains(body, `href="#`+shape+`"`) {
			t.Errorf("%s: %.900s", verdict, text)
		}
		if verdict != status.Within && strings.Contains(body, "right for") {
			t.Errorf("%s is called right", verdict)
		}
	}
}

// TestStaleIsNeverShown: when updates stop, the page of the server and its stream
// hold no verdict any more.
func TestStaleIsNeverShown(t *testing.T) {
	f := newFake(t, nil, nil)
	f.still.Store(true)
	f.later.Store(int64(staleAfter + time.Second))
	_, _, body := f.get("/")
	for _, verdict := range []string{"Within", "right for", "Good until"} {
		if strings.Contains(words(body), verdict) {
			t.Errorf("an old page says %q", verdict)
		}
	}
	if !strings.Contains(words(body), "No word from the station Gone Do not key up.") {
		t.Error(words(body))
	}
	if !strings.Contains(body, `data-state="gone"`) {
		t.Error("the page does not know that the station is gone")
	}
}

func TestModeIsAskedFor(t *testing.T) {
	f := newFake(t, func(s *status.Snapshot) { s.Modes[1].Verdict = status.Borderline }, nil)
	for query, want := range map[string]string{"": "FT8 Within", "?mode=FT4": "FT4 Borderline", "?mode=%3Cscript%3E": "FT8 Within"} {
		if _, _, body := f.get("/" + query); !strings.Contains(words(body), want+" ") || strings.Contains(body, "<script>") {
			t.Errorf("%q: %.600s", query, words(body))
		}
	}
	if _, _, body := f.get("/?mode=FT4"); !strings.Contains(words(body), "The station’s mode in use is FT8; FT4 is shown on this device only.") {
		t.Error("it does not say that the choice is this device's")
	}
}

func TestOutsideTextIsText(t *testing.T) {
	const hostile = `"><script>alert(1)</script>` + "\x1b[31m"
	f := newFake(t, func(s *status.Snapshot) {
		s.Receiver.Device, s.Clock.Because, s.Events[0].Text = hostile, hostile, hostile
		s.References[0].Because, s.Position.Locator, s.Modes[0].Mode = hostile, hostile, hostile
	}, nil)
	_, _, body := f.get("/")
	if strings.Contains(body, "<script>") || strings.Contains(body, "\x1b") {
		t.Error("what came from outside commands the page")
	}
}

func TestHeadersAndSize(t *testing.T) {
	f := newFake(t, nil, nil)
	total := 0
	for _, path := range []string{"/", "/page.css", "/page.js", "/icon.svg", "/page.webmanifest", "/worker.js"} {
		code, h, body := f.get(path)
		if code != http.StatusOK {
			t.Errorf("%s: %d", path, code)
		}
		csp := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || h.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: %s", path, csp)
		}
		// Nothing inline, nothing from elsewhere.
		if regexp.MustCompile(`(?i)\sstyle=|\son[a-z]+=|<style|<script[^>]*>[^<]`).MatchString(body) && path == "/" {
			t.Errorf("%s has inline parts", path)
		}
		if m := regexp.MustCompile(`(?:href|src|url\(|fetch\()\W*(https?:)?//\w`).FindString(body); m != "" {
			t.Errorf("%s loads from elsewhere: %s", path, m)
		}
		total += len(body)
	}
	if total > 150_000 {
		t.Errorf("the first load is %d bytes", total)
	}
	t.Logf("first load %d bytes, before compression", total)
}

func TestLookIsKept(t *testing.T) {
	f := newFake(t, nil, nil)
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for ask, want := range map[string]string{"night": "night", "purple": "", "auto": ""} {
		r, err := client.Get(f.server.URL + "/look?look=" + ask + "&mode=FT4")
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if c := r.Cookies(); r.Header.Get("Location") != "/?mode=FT4" || len(c) != 1 || c[0].Value != want {
			t.Errorf("%s: %v, to %s", ask, c, r.Header.Get("Location"))
		}
	}
}

// events reads n events of a stream.
func (f *fake) events(query string, n int) (out []event) {
	f.t.Helper()
	r, err := f.server.Client().Get(f.server.URL + "/live" + query)
	if err != nil {
		f.t.Fatal(err)
	}
	defer r.Body.Close()
	if got := r.Header.Get("Content-Type"); got != "text/event-stream" {
		f.t.Fatalf("type %q, status %d", got, r.StatusCode)
	}
	var text string
	for b := make([]byte, 64<<10); len(out) < n; {
		k, err := r.Body.Read(b)
		if err != nil {
			f.t.Fatal(err)
		}
		text += string(b[:k])
		for {
			line, rest, ok := strings.Cut(text, "\n\n")
			if !ok {
				break
			}
			text = rest
			if _, data, ok := strings.Cut(line, "data: "); ok {
				var e event
				if err := json.Unmarshal([]byte(data), &e); err != nil {
					f.t.Fatal(err)
				}
				out = append(out, e)
			}
		}
	}
	return out
}

// TestStream: first everything, then only what has changed, each second.
func TestStream(t *testing.T) {
	f := newFake(t, nil, nil)
	e := f.events("?mode=FT4", 3)
	for _, p := range parts {
		if _, ok := e[0].Parts[p.name]; !ok {
			t.Errorf("the first event has no %s", p.name)
		}
	}
	if len(e[2].Parts) > 3 {
		t.Errorf("nothing has changed, yet %d parts come again", len(e[2].Parts))
	}
	if e[1].Seq != e[0].Seq+1 || e[0].Verdict != status.Within || !strings.HasPrefix(e[0].Say, "FT4: Within") {
		t.Errorf("%+v", e[0])
	}
	// The judged UTC goes with this machine's own timescale.
	drift := (*e[2].UTCMS - *e[0].UTCMS) - (e[2].AtMS - e[0].AtMS)
	if wait := e[2].AtMS - e[0].AtMS; drift < -1 || drift > 1 || wait < 1500 || wait > 6000 {
		t.Errorf("%v ms of drift in %v ms", drift, wait)
	}
}

func TestNoMoreStreamsThanAllowed(t *testing.T) {
	f := newFake(t, nil, nil)
	f.mu.Lock()
	f.streams = maxStreams
	f.mu.Unlock()
	if code, h, _ := f.get("/live"); code != http.StatusServiceUnavailable || h.Get("Retry-After") == "" {
		t.Errorf("one too many: %d", code)
	}
}
