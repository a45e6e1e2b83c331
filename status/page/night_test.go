package page

import (
	"bytes"
	"fmt"
	"hash/crc32"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// quiet is a page with a clock that stands still unless it is moved.
func quiet(now *timescale.Local) *Page {
	return New(Config{Now: func() timescale.Local { return *now }})
}

// nightOf plays an hour with an hour's hole of knowledge in its midst, and keeps it.
func nightOf(t *testing.T, now *timescale.Local) (*Page, []byte) {
	t.Helper()
	p := quiet(now)
	for i := range 180 {
		*now = now.Add(20 * time.Second)
		s := good()
		s.Written.BootID, s.Written.BoottimeS, s.Written.SystemUTC = "boot", now.Sub(0).Seconds(), status.At(begin.Add(now.Sub(100e9)))
		if i >= 60 && i < 120 {
			s.Clock = status.Clock{Basis: status.BasisNone}
		}
		p.Put(Update{Snapshot: &s, At: *now, Satellites: []Satellite{{"GPS 5", 40, 100, 30}}})
	}
	b := p.Night()
	if b == nil || len(b) > MaxNight {
		t.Fatalf("%d bytes", len(b))
	}
	return p, b
}

// TestTheNightOutlivesARestart: the record, the sky and the events come back as they were,
// with a hole for the time between; and nothing but them.
func TestTheNightOutlivesARestart(t *testing.T) {
	now := timescale.Local(100e9)
	p, b := nightOf(t, &now)
	now = now.Add(5 * time.Minute)
	q := quiet(&now)
	if err := q.Remember(b, "boot", now); err != nil {
		t.Fatal(err)
	}
	was, is := p.record.last(1e9, 10000), q.record.last(1e9, 10000)
	if len(is) != len(was)+1 {
		t.Fatalf("%d points, were %d", len(is), len(was))
	}
	for i := range was {
		if rounded(was[i]) != rounded(is[i]) {
			t.Fatalf("point %d is %v, was %v", i, is[i], was[i])
		}
	}
	if l := is[len(is)-1]; l.low == l.low {
		t.Errorf("the time between is no hole: %v", l)
	}
	if q.record.sky != p.record.sky || len(q.record.past) != len(good().Events) {
		t.Errorf("sky or events: %v", q.record.past)
	}
	// History is no judgement: before the first word of the station there is no contact.
	if q.latest.Load() != nil || q.Snapshot() != nil {
		t.Fatal("what was kept became a status")
	}
	// Then the station speaks, and the past has its events.
	s := good()
	s.Written.BoottimeS, s.Written.SystemUTC = now.Sub(0).Seconds(), status.At(begin.Add(now.Sub(100e9)))
	q.Put(Update{Snapshot: &s, At: now})
	f := q.latest.Load()
	if e := q.record.earlier(f); len(e) == 0 || f.utc.Sub(e[0].UTC.V) < 5*time.Minute {
		t.Errorf("%+v", e)
	}
	if d := q.detailsOf(f, &f.snap.Modes[0], true); !strings.Contains(d.Night.Text, "In the last 64 min") {
		t.Errorf("%s", d.Night.Text)
	}
}

// TestANightThatWasTamperedWith: what is damaged, of another boot, of the future or out of
// order is not taken up, and leaves nothing.
func TestANightThatWasTamperedWith(t *testing.T) {
	now := timescale.Local(100e9)
	_, b := nightOf(t, &now)
	signed := func(change func(string) string) []byte {
		_, body, _ := bytes.Cut(b, []byte("\n"))
		body = []byte(change(string(body)))
		return append(fmt.Appendf(nil, "%s %08x\n", nightVersion, crc32.ChecksumIEEE(body)), body...)
	}
	replace := func(old, new string) []byte {
		return signed(func(s string) string {
			if !strings.Contains(s, old) {
				t.Fatalf("no %s in it", old)
			}
			return strings.Replace(s, old, new, 1)
		})
	}
	for name, bad := range map[string][]byte{
		"nothing": nil, "cut": b[:len(b)-2], "a bit turned": append(b[:len(b)-3:len(b)-3], 'x', b[len(b)-2], b[len(b)-1]),
		"another version": bytes.Replace(b, []byte("v1"), []byte("v2"), 1), "another boot": replace(`"boot_id":"boot"`, `"boot_id":"b2"`),
		"of the future": replace("[[120,", "[[999999,"), "out of order": replace("[[120,", "[[3000,"), "a strange basis": replace("105],", "150],"),
		"no sky": replace(`"sky":[[0,0],`, `"sky":[`), "not JSON": signed(func(string) string { return "[" }),
	} {
		q := quiet(&now)
		if err := q.Remember(bad, "boot", now); err == nil || q.record.n != 0 || len(q.record.past) != 0 {
			t.Errorf("%s: taken up, %d points: %v", name, q.record.n, err)
		}
	}
	for range 2 { // and a good one is, again and again
		if err := quiet(&now).Remember(signed(func(s string) string { return s }), "boot", now); err != nil {
			t.Error(err)
		}
	}
}

// rounded is a point as it is kept.
func rounded(q point) string {
	out := fmt.Sprint(q.doubt)
	for _, v := range q.numbers() {
		if v == nil {
			out += " –"
		} else {
			out += fmt.Sprintf(" %.4f", *v)
		}
	}
	return out
}

// moreEvery is how often the script asks for what stands below, while it is looked at.
const moreEvery = 45 * time.Second

// TestAnHourOfLookingAtIt: with the longest record there is, what stands below the answer
// leaves half of an hour's bytes to the stream.
func TestAnHourOfLookingAtIt(t *testing.T) {
	if !bytes.Contains(text("more.js"), fmt.Appendf(nil, "FRESH_MS = %d;", moreEvery.Milliseconds())) {
		t.Error("the script asks at another pace")
	}
	now := timescale.Local(100e9)
	p := quiet(&now)
	for i := range historyLen + 10 {
		now = now.Add(historyStepS * time.Second)
		s := good()
		restless(&s)
		s.Written.BoottimeS, s.Written.SystemUTC = now.Sub(0).Seconds(), status.At(begin.Add(now.Sub(100e9)))
		s.Clock.ErrorS = status.Known(float64(i%17) / 40)
		p.Put(Update{Snapshot: &s, At: now})
	}
	w := httptest.NewRecorder()
	r := httptest.NewRequest("GET", "/more?part=1&wide=1", nil)
	r.Header.Set("Accept-Encoding", "gzip")
	p.ServeHTTP(w, r)
	hour := float64(w.Body.Len()) * time.Hour.Seconds() / moreEvery.Seconds()
	t.Logf("%d bytes at a time, %.2f MB an hour", w.Body.Len(), hour/1e6)
	if w.Code != 200 || w.Body.Len() < 2000 || hour > hourMax/2 {
		t.Errorf("%d: an hour is %.2f MB, at most %.2f", w.Code, hour/1e6, hourMax/2e6)
	}
}
