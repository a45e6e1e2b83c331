package main

import (
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/web"
	"noonmark/status"
)

// TestOffsetsReachTheJudge: a running service, a receiver by which the clock is 0.3 s fast, and the
// page's field. Before, the whole second is open and FT8 is refused. The others come 0.3 s late, so
// the field takes +0.3: the second is confirmed and FT8 is within. The same numbers with the other sign
// are a clock that is slow: the crowd contradicts.
func TestOffsetsReachTheJudge(t *testing.T) {
	t.Parallel()
	feed, device := clitest.Feed(t)
	feed.Lie.Store(int64(-300 * time.Millisecond))
	l, err := web.Listen("127.0.0.1:0", false)
	if err != nil {
		t.Fatal(err)
	}
	at := "http://" + l.Addr().String()
	l.Close()
	run, set := t.TempDir(), filepath.Join(t.TempDir(), "noonmark.toml")
	if err := os.WriteFile(set, []byte("[publish]\nhttp = \""+strings.TrimPrefix(at, "http://")+"\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	cmd := exec.Command(clitest.Binary(t), "run", "--device", device, "--rtc", "none", "--run-dir", run, "--state-dir", t.TempDir(), "--allow-disk", "--config", set)
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { cmd.Process.Kill(); cmd.Wait() }()
	path, number := filepath.Join(run, status.FileName), ""
	ft8 := func() (word string) {
		for _, m := range clitest.Load(path).Modes {
			if m.Mode == "FT8" {
				word = m.Verdict
			}
		}
		return word
	}
	clitest.WaitFor(t, &log, "a fix, a page and its number", func() bool {
		code, out, _ := runArgs("pin", "--run-dir", run)
		number = strings.TrimSpace(out)
		r, err := http.Get(at + "/exchange")
		if err == nil {
			r.Body.Close()
		}
		return code == exit.OK && len(number) == 8 && err == nil && clitest.Load(path).Clock.Basis == status.BasisGNSS
	})
	if s := clitest.Load(path); ft8() == status.Within || slices.Contains(s.Clock.Proved, "second") {
		t.Fatalf("before the offsets: FT8 %s, %+v", ft8(), s.Clock)
	}
	form := func(typed string) url.Values {
		return url.Values{"pin": {number}, "mode": {"FT8"}, "own": {"yes"}, "offsets": {typed}}
	}
	crowd := func(trust string) func() bool {
		return func() bool {
			return slices.ContainsFunc(clitest.Load(path).References, func(r status.Reference) bool { return r.Name == "crowd" && r.Trust == trust })
		}
	}
	if code, text := post(t, at+"/hand/offsets", form("0.3 0.4 0.2 0.3")); code != 422 || !strings.Contains(text, "Too few") {
		t.Errorf("four stations: %d %s", code, text)
	}
	if code, text := post(t, at+"/hand/offsets", form("0.3 0.4 0.2 0.3 0.5 0.3 0.28")); code != 200 || !strings.Contains(text, "0.25 s fast") {
		t.Fatalf("%d %s", code, text)
	}
	clitest.WaitFor(t, &log, "a crowd that is trusted, the second confirmed, FT8 within", func() bool {
		return crowd(status.Trusted)() && slices.Contains(clitest.Load(path).Clock.Proved, "second") && ft8() == status.Within
	})
	if code, text := post(t, at+"/hand/offsets", form("-0.9 -1.0 -0.8 -0.9 -1.1 -0.9 -0.9")); code != 200 || !strings.Contains(text, " s slow") {
		t.Fatalf("%d %s", code, text)
	}
	clitest.WaitFor(t, &log, "a crowd that is doubted", crowd(status.Doubted))
}
