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
	html = regexp.MustCompile(`(?s)<template.*?</template>|<(style|script)[^>]*>.*?</(style|script)>|<div id="gone" aria-hidden="true".*?<div id="answer"`).ReplaceAllString(html, " ")
	return strings.Join(strings.Fields(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(html, " ")), " ")
}

func TestEachVerdictHasItsWordShapeAndAdvice(t *testing.T) {
	for verdict, want := range map[string][3]string{
		"made up":         {"unknown", "No time", "Do not key up."},
		status.Unknown:    {"unknown", "No time", "Do not key up."},
		status.Outside:    {"outside", "Clock wrong", "Do not key up."},
		status.Borderline: {"borderline", "Not sure", "Do not key up."},
		status.Within:     {"within", "Clock good", "The clock is right for FT8."},
	} {
		f := newFake(t, func(s *status.Snapshot) { s.Modes[0].Verdict = verdict }, nil)
		_, _, body := f.get("/")
		if text := words(body); !strings.Contains(text, "FT8 "+want[1]) || !strings.Contains(text, want[2]) || !strings.Contains(body, `data-state="`+want[0]+`"`) || !strings.Contains(body, `href="#s-`+want[0]+`"`) {
			t.Errorf("%s: %.900s", verdict, text)
		}
		if verdict != status.Within && strings.Contains(body, "right for") {
			t.Errorf("%s is called right", verdict)
		}
		for _, jargon := range []string{"Within", "Margin", "no promise", "Basis", "two views", "Proved"} {
			if strings.Contains(words(body), jargon) {
				t.Errorf("%s: the glance says %q", verdict, jargon)
			}
		}
	}
}

// TestStaleIsNeverShown: when updates stop, the page of the server and its stream
// hold no verdict any more; and a page without one is not drawn as live.
func TestStaleIsNeverShown(t *testing.T) {
	f := newFake(t, nil, nil)
	f.still.Store(true)
	f.later.Store(int64(staleAfter + time.Second))
	for _, path := range []string{"/", "/more", "/card"} {
		_, _, body := f.get(path)
		for _, verdict := range []string{"Clock good", "right for", "left if"} {
			if strings.Contains(words(body), verdict) {
				t.Errorf("%s: an old page says %q", path, verdict)
			}
		}
	}
	_, _, body := f.get("/")
	if !strings.Contains(words(body), "No contact") || !strings.Contains(body, `data-state="gone" data-live=""`) {
		t.Errorf("%.2000s", words(body))
	}
}

func TestModeIsAskedFor(t *testing.T) {
	f := newFake(t, func(s *status.Snapshot) { s.Modes[1].Verdict = status.Borderline }, nil)
	for query, want := range map[string]string{"": "FT8 Clock good", "?mode=FT4": "FT4 Not sure", "?mode=%3Cscript%3E": "FT8 Clock good"} {
		if _, _, body := f.get("/" + query); !strings.Contains(words(body), want+" ") || strings.Contains(body, "=<script>") {
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
	_, _, more := f.get("/more")
	if body += more; strings.Contains(body, "<script>alert") || strings.Contains(body, "\x1b") {
		t.Error("what came from outside commands the page")
	}
}

func TestHeaders(t *testing.T) {
	f, _ := withHands(t)
	inline := regexp.MustCompile(`(?s)<(?:script|style)>(.*?)</(?:script|style)>`)
	for _, path := range []string{"/", "/more", "/card", "/hand", "/more.css", "/more.js", "/icon.svg", "/page.webmanifest"} {
		code, h, body := f.get(path)
		if code != http.StatusOK {
			t.Errorf("%s: %d", path, code)
		}
		csp := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || h.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: %s", path, csp)
		}
		// What is inline is named by its hash; nothing comes from elsewhere.
		for _, m := range inline.FindAllStringSubmatch(body, -1) {
			if !strings.Contains(csp, hashOf([]byte(m[1]))) {
				t.Errorf("%s: not in the policy: %.60s", path, m[1])
			}
		}
		if strings.HasSuffix(path, ".css") || strings.HasSuffix(path, ".js") {
			continue
		}
		if m := regexp.MustCompile(`(?i)<[^>]*\s(style|on[a-z]+)=`).FindString(inline.ReplaceAllString(body, "")); m != "" {
			t.Errorf("%s has inline parts: %s", path, m)
		}
		if m := regexp.MustCompile(`(?:href|src|url\(|fetch\()\W*(https?:)?//\w`).FindString(body); m != "" {
			t.Errorf("%s loads from elsewhere: %s", path, m)
		}
	}
}

func TestLookIsKept(t *testing.T) {
	f := newFake(t, nil, nil)
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for ask, want := range map[string]string{"dusk": "dusk", "night": "night", "purple": "", "auto": ""} {
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
			if _, data, ok := strings.Cut(line, "data:"); ok {
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
	if len(e[2].Parts) > 0 {
		t.Errorf("nothing has changed, yet %d parts come again", len(e[2].Parts))
	}
	if e[1].Seq != e[0].Seq+1 || e[0].State != status.Within || !e[0].Live || !strings.HasPrefix(e[0].Parts["say"], "FT4: Clock good") {
		t.Errorf("%+v", e[0])
	}
	// The judged UTC goes with this machine's own timescale.
	drift := (*e[2].UTCMS - *e[0].UTCMS) - (e[2].BootMS - e[0].BootMS)
	if wait := e[2].BootMS - e[0].BootMS; drift < -1 || drift > 1 || wait < 1500 || wait > 6000 {
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
