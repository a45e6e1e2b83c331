package web

import (
	"context"
	"strings"
	"testing"
	"time"

	"noonmark/cmd/internal/hostclock"
	"noonmark/status"
	"noonmark/status/page"
	"noonmark/status/page/pagetest"
)

// TestATapExplains: a tap on a lamp or a number shows the manual's paragraph beside it,
// and the answer stays in sight.
func TestATapExplains(t *testing.T) {
	p := NewPage(1, nil)
	ctx, cancel := context.WithCancel(t.Context())
	put := func() {
		now := hostclock.Now()
		s := status.Snapshot{Live: true, Written: status.Written{BoottimeS: hostclock.BootNow().Sub(0).Seconds()}, Clock: status.Clock{Basis: "gnss", ErrorS: status.Known(0.01), BoundS: status.Known(0.1), GuardS: status.Known(0.2)},
			Modes: []status.Mode{{Mode: "FT8", PeriodS: 15, ToleranceS: 1, Verdict: status.Within, MarginS: status.Known(0.7), GoodForS: status.Known(1e5), InUse: true}}}
		s.Written.SystemUTC = status.At(hostclock.Sample().System)
		p.Put(page.Update{At: now, Snapshot: &s})
	}
	put()
	l, err := Listen("127.0.0.1:0", false)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- Serve(ctx, l, Site(p)) }()
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		for tick := time.NewTicker(time.Second); ; {
			select {
			case <-tick.C:
				put()
			case <-ctx.Done():
				return
			}
		}
	}()
	t.Cleanup(func() { cancel(); <-done; <-stopped })
	b := pagetest.Open(t)
	for _, size := range [][2]int64{{360, 640}, {1280, 800}} {
		b.Size(size[0], size[1])
		b.Go("http://" + l.Addr().String() + "/")
		b.Wait(`document.documentElement.dataset.state === "within" && !!document.querySelector("#tools button")`, time.Minute)
		for tap, says := range map[string]string{"#lamp-network a": "Time servers, asked while", ".level": "The needle is the error", "#utc": "The number after ±", "#place": "The locator comes from", ".left b": "So long the answer holds"} {
			pagetest.Eval[bool](b, `document.querySelector(`+"`"+tap+"`"+`).dispatchEvent(new MouseEvent("click", {bubbles: true, cancelable: true})), true`)
			b.Wait(`(document.getElementById("what")?.innerText ?? "").includes("`+says+`")`, time.Minute)
			if at := pagetest.Eval[string](b, `location.pathname`); at != "/" {
				t.Fatalf("%s leads away to %s", tap, at)
			}
			if under := pagetest.Eval[bool](b, `document.documentElement.dataset.state === "gone" || (() => { const r = document.querySelector("#answer .word span").getBoundingClientRect(); return !!document.elementFromPoint((r.left + r.right) / 2, (r.top + r.bottom) / 2).closest("#answer"); })()`); !under {
				t.Errorf("%d×%d, %s: the answer is covered", size[0], size[1], tap)
			}
		}
		b.Shot("explained")
		b.Key("Escape")
		b.Wait(`!document.getElementById("what")`, time.Minute)
	}
	if got := pagetest.Eval[string](b, `document.getElementById("lamp-air").querySelector("a").href`); !strings.HasSuffix(got, "/manual/8-page#the-air") {
		t.Errorf("without a script the lamp leads to %s", got)
	}
}
