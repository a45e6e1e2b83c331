package page

import (
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// hands notes what is done; its PIN is 2468.
type hands struct {
	resumed   bool
	withdrawn int
	mu        sync.Mutex
	tries     int
	taps      []Taps
	borrowed  []Borrowed
	mode      string
	offsets   []string
}

func (h *hands) Open(pin, from string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.tries++; h.tries > 40 {
		return ErrWait
	}
	if pin != "2468" || from != "127.0.0.1" {
		return ErrPIN
	}
	return nil
}

func (h *hands) Signals() []Signal { return []Signal{{"a", "Station A"}, {"b", "Station B"}} }

func (h *hands) Withdraw() (string, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.withdrawn++
	return "The last mark is taken back.", nil
}

func (h *hands) Mark(t Taps) (string, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.taps = append(h.taps, t)
	return "Marked.", nil
}

func (h *hands) Borrow(b Borrowed) (string, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.borrowed = append(h.borrowed, b)
	return "Borrowed.", nil
}

func (h *hands) Timed() []string { return []string{"FT8", "FT4"} }

func (h *hands) Offsets(mode string, typed []string) (string, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.offsets = append([]string{mode}, typed...)
	return "By " + strconv.Itoa(len(typed)) + " stations.", nil
}

func (h *hands) Resume() (string, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.resumed = true
	return "Taken back.", nil
}

func (h *hands) Use(mode string) (string, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.mode = mode
	return "The mode in use is " + mode + ".", nil
}

func withHands(t testing.TB) (*fake, *hands) {
	h := &hands{}
	f := newFake(t, nil, nil)
	f.cfg.Hand = h
	f.handRoutes()
	return f, h
}

func ms(l timescale.Local) string { return strconv.FormatFloat(float64(l)/1e6, 'f', 3, 64) }

func TestByHandIsRefused(t *testing.T) {
	f, h := withHands(t)
	now := f.now()
	mark := url.Values{"pin": {"2468"}, "signal": {"a"}, "habit": {"count"}, "slack": {"3"}, "taps": {ms(now.Add(-time.Minute)) + "," + ms(now)}}
	borrow := url.Values{"pin": {"2468"}, "source": {SourceNetwork}, "days": {"0"}, "slack": {"3"}, "at": {ms(now)}, "utc": {"1927857906000"}}
	use := url.Values{"pin": {"2468"}, "mode": {"FT4"}}
	resume := url.Values{"pin": {"2468"}}
	offsets := url.Values{"pin": {"2468"}, "mode": {"FT8"}, "own": {"yes"}, "offsets": {" 0.8  -0.9\n0,7 "}}
	with := func(v url.Values, key, value string) url.Values {
		c := url.Values{}
		for k := range v {
			c.Set(k, v.Get(k))
		}
		c.Set(key, value)
		return c
	}
	for _, row := range []struct {
		name, path, site string
		form             url.Values
		want             int
	}{
		{"no PIN", "mark", "", with(mark, "pin", ""), 403},
		{"a wrong PIN for the clock", "resume", "", with(resume, "pin", "1234"), 403},
		{"a wrong PIN for a mark back", "withdraw", "", with(resume, "pin", "1234"), 403},
		{"a mark taken back from another site", "withdraw", "https://example.org", resume, 403},
		{"a wrong PIN", "borrow", "", with(borrow, "pin", "1234"), 403},
		{"another site's form", "use", "cross-site", use, 403},
		{"too long a form", "use", "", with(use, "x", strings.Repeat("x", maxForm)), 400},
		{"no taps", "mark", "", with(mark, "taps", ""), 422},
		{"taps that are none", "mark", "", with(mark, "taps", "NaN"), 422},
		{"taps without end", "mark", "", with(mark, "taps", "Inf"), 422},
		{"old taps", "mark", "", with(mark, "taps", ms(now.Add(-time.Hour))), 422},
		{"taps to come", "mark", "", with(mark, "taps", ms(now.Add(time.Minute))), 422},
		{"taps in disorder", "mark", "", with(mark, "taps", ms(now)+","+ms(now.Add(-time.Minute))), 422},
		{"too many taps", "mark", "", with(mark, "taps", strings.Repeat(ms(now)+",", maxTaps+1)), 422},
		{"no habit", "mark", "", with(mark, "habit", ""), 422},
		{"an exchange that says nothing", "mark", "", with(mark, "slack", "9000"), 422},
		{"a negative exchange", "borrow", "", with(borrow, "slack", "-1"), 422},
		{"no minute", "mark", "", with(mark, "minute", "soon"), 422},
		{"no source", "borrow", "", with(borrow, "source", ""), 422},
		{"no time", "borrow", "", with(borrow, "utc", "NaN"), 422},
		{"days to come", "borrow", "", with(borrow, "days", "-1"), 422},
		{"a mode that is none", "use", "", with(use, "mode", "<script>"), 422},
		{"a wrong PIN for offsets", "offsets", "", with(offsets, "pin", "1234"), 403},
		{"offsets of another site", "offsets", "cross-site", offsets, 403},
		{"offsets of another device's decoder", "offsets", "", with(offsets, "own", ""), 422},
		{"offsets of no mode", "offsets", "", with(offsets, "mode", "WSPR"), 422},
		{"too many offsets", "offsets", "", with(offsets, "offsets", strings.Repeat("0.1 ", maxOffsets+1)), 422},
		{"offsets", "offsets", "same-origin", offsets, 200},
		{"a mark", "mark", "", with(mark, "minute", "2031-02-03T04:06"), 200},
		{"a borrowed clock", "borrow", "same-origin", borrow, 200},
		{"a mode", "use", "", use, 200},
	} {
		r, err := http.NewRequest("POST", f.server.URL+"/hand/"+row.path, strings.NewReader(row.form.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if row.site != "" {
			r.Header.Set("Sec-Fetch-Site", row.site)
		}
		a, err := f.server.Client().Do(r)
		if err != nil {
			t.Fatal(err)
		}
		text, _ := io.ReadAll(a.Body)
		a.Body.Close()
		if a.StatusCode != row.want {
			t.Errorf("%s: %d, want %d: %s", row.name, a.StatusCode, row.want, text)
		}
	}
	if got := strings.Join(h.offsets, "|"); got != "FT8|0.8|-0.9|0,7" {
		t.Errorf("offsets arrived as %s", got)
	}
	if len(h.taps) != 1 || len(h.borrowed) != 1 || h.mode != "FT4" {
		t.Fatalf("done: %+v, %+v, %q", h.taps, h.borrowed, h.mode)
	}
	if m := h.taps[0]; m.Signal != "a" || m.Reacts || len(m.At) != 2 || m.Slack != 3*time.Millisecond ||
		m.FirstAt != timescale.UTCOf(time.Date(2031, 2, 3, 4, 6, 0, 0, time.UTC)) {
		t.Errorf("%+v", m)
	}
	if code, _, _ := f.get("/hand/use?pin=2468&mode=FT4"); code != http.StatusMethodNotAllowed {
		t.Errorf("a link does something by hand: %d", code)
	}
	h.tries = 100
	if a, err := http.PostForm(f.server.URL+"/hand/use", use); err != nil || a.StatusCode != http.StatusTooManyRequests {
		t.Errorf("after too many tries: %v %v", a, err)
	}
}

// byHandOpen waits for what is done by hand and unfolds it.
func byHandOpen(b *pagetest.Browser) {
	b.Wait(`!!document.getElementById("byhand")`, patience)
	pagetest.Eval[bool](b, `document.querySelectorAll("#byhand details").forEach(d => d.open = true), true`)
}

// tap makes a tap so many ms ago.
func tap(b *pagetest.Browser, ago int) {
	pagetest.Eval[bool](b, fmt.Sprintf(`(() => { const e = new PointerEvent("pointerdown"); Object.defineProperty(e, "timeStamp", {value: performance.now() - %d}); document.getElementById("tap").dispatchEvent(e); return true; })()`, ago))
}

// TestByHandInTheBrowser: a wrong PIN is refused and said to be, beside the button; then
// taps on three minutes, the device's clock and a mode arrive as what they are.
func TestByHandInTheBrowser(t *testing.T) {
	t.Parallel()
	f, h := withHands(t)
	b := open(t)
	b.Go(f.server.URL + "/?mode=FT4")
	b.Wait(alive, patience)
	byHandOpen(b)
	answer := func(form, submit, want string) {
		t.Helper()
		pagetest.Eval[bool](b, submit+`, true`)
		b.Wait(`document.querySelector("`+form+` .answer").textContent.includes("`+want+`")`, patience)
		if far := pagetest.Eval[float64](b, `(() => { const f = document.querySelector("`+form+`"), a = f.querySelector(".answer").getBoundingClientRect(), s = f.querySelector(".row").getBoundingClientRect(); return Math.abs(a.top - s.bottom); })()`); far > 120 {
			t.Errorf("%s: the answer stands %.0f px from its button", form, far)
		}
	}
	pagetest.Eval[bool](b, `document.getElementById("pin").value = "1111", true`)
	answer("#use-form", `document.getElementById("use-send").click()`, "not the station’s PIN")
	if h.mode != "" {
		t.Fatal("a wrong PIN changed the mode")
	}
	// Enter in the field of the PIN does nothing of itself.
	pagetest.Eval[bool](b, `document.getElementById("pin").value = "2468", document.getElementById("pin").focus(), true`)
	b.Key("Enter")
	time.Sleep(300 * time.Millisecond)
	if h.mode != "" {
		t.Error("Enter in the field of the PIN changed the mode of the station")
	}
	answer("#use-form", `document.getElementById("use-send").click()`, "The mode in use is FT4.")

	tap(b, 120_000)
	tap(b, 118_000) // a bounce
	b.Wait(`document.getElementById("taps").textContent.includes("bounce")`, patience)
	tap(b, 60_000)
	tap(b, 30_000) // not a minute of its own
	if !pagetest.Eval[bool](b, `document.getElementById("mark-send").disabled && document.getElementById("list").children.length === 3`) {
		t.Errorf("two minutes may be sent: %s", b.Text("list"))
	}
	pagetest.Eval[bool](b, `document.getElementById("undo").click(), true`)
	before := f.now()
	tap(b, 0)
	after := f.now()
	b.Wait(`document.getElementById("taps").textContent.includes("3 minutes: ready to send") && !document.getElementById("mark-send").disabled`, patience)
	answer("#mark-form", `document.querySelector("input[value=react]").checked = true, document.getElementById("mark-send").click()`, "Marked.")
	if m := h.taps[0]; !m.Reacts || len(m.At) != 3 || m.At[2] < before.Add(-m.Slack-time.Millisecond) || m.At[2] > after.Add(m.Slack+time.Millisecond) || m.Slack > 500*time.Millisecond {
		t.Errorf("a tap between %d and %d arrived as %+v", before, after, m)
	}
	if !strings.Contains(b.Text("guide"), "Station’s minute in") {
		t.Errorf("the guide says %q", b.Text("guide"))
	}

	pagetest.Eval[bool](b, `document.getElementById("offsets").value = "0.8 0.9 0.7 0.8 1.0", true`)
	answer("#offsets-form", `document.getElementById("offsets-send").click()`, "another device has another clock")
	if h.offsets != nil {
		t.Error("offsets of any computer were taken")
	}
	answer("#offsets-form", `document.querySelector("input[name=own]").click(), document.getElementById("offsets-send").click()`, "By 5 stations.")
	if got := strings.Join(h.offsets, "|"); got != "FT8|0.8|0.9|0.7|0.8|1.0" || pagetest.Eval[string](b, `document.getElementById("offsets").value`) != "" {
		t.Errorf("offsets arrived as %s", got)
	}

	// The mark turned every mode: it offers its own withdrawal.
	f.edit(func(s *status.Snapshot) { *s = inState("borderline") })
	b.Wait(`document.getElementById("slip").textContent.startsWith("Since this mark no mode is good any more.")`, patience)
	b.Shot("slip")
	answer("#withdraw-form", `document.getElementById("withdraw-send").click()`, "The last mark is taken back.")
	if h.withdrawn != 1 || pagetest.Eval[bool](b, `document.getElementById("withdraw-form").hasAttribute("data-slip")`) {
		t.Errorf("taken back %d times, and still offered: %s", h.withdrawn, b.Text("slip"))
	}

	answer("#borrow-form", `document.querySelector("input[value=network]").checked = true, document.getElementById("borrow-send").click()`, "Borrowed.")
	c := h.borrowed[0]
	truth := time.Now().Add(c.At.Sub(f.now())) // this machine's clock is the browser's
	if off := c.UTC.Time().Sub(truth); math.Abs(off.Seconds()) > c.Slack.Seconds()+0.02 || c.Source != SourceNetwork || c.From != "127.0.0.1" {
		t.Errorf("the borrowed clock is off by %s: %+v", off, c)
	}
	clean(t, b)
	b.Shot("hand")
}

// TestTheClockBack: with the PIN the clock is taken back, and what came of it is said.
func TestTheClockBack(t *testing.T) {
	f, h := withHands(t)
	a, err := f.server.Client().PostForm(f.server.URL+"/hand/resume", url.Values{"pin": {"2468"}})
	if err != nil {
		t.Fatal(err)
	}
	text, _ := io.ReadAll(a.Body)
	a.Body.Close()
	code := a.StatusCode
	h.mu.Lock()
	defer h.mu.Unlock()
	if code != http.StatusOK || !strings.Contains(string(text), "Taken back.") || !h.resumed {
		t.Errorf("%d %s, taken back %v", code, text, h.resumed)
	}
}
