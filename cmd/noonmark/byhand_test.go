package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/rehearsal"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/web"
	"noonmark/status"
	"noonmark/status/page"
)

// liveDemo runs a story in real time and returns its page's address and PIN.
func liveDemo(t *testing.T, scenario string) (address, number string) {
	t.Helper()
	read, write := io.Pipe()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- rehearsal.Demo(ctx, cli.Demo{Speed: 1, Seed: 1, Scenario: scenario, HTTP: "127.0.0.1:0", RunDir: t.TempDir()}, write)
		write.Close()
	}()
	t.Cleanup(func() { cancel(); read.Close(); <-done })
	lines := bufio.NewReader(read)
	for number == "" {
		line, err := lines.ReadString('\n')
		if err != nil {
			t.Fatal(err, <-done)
		}
		if _, after, ok := strings.Cut(line, "Page: "); ok {
			address = strings.TrimSpace(after)
		}
		if _, after, ok := strings.Cut(line, "by hand there: "); ok {
			number = strings.TrimSpace(after)
		}
	}
	go io.Copy(io.Discard, lines)
	return address, number
}

func post(t *testing.T, url string, form url.Values) (int, string) {
	t.Helper()
	r, err := http.PostForm(url, form)
	return clitest.Answer(t, r, err)
}

// now asks a page for its status and the present instant of its timescale.
func now(t *testing.T, address string) (s status.Snapshot) {
	t.Helper()
	for end := time.Now().Add(clitest.Patience); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		r, err := http.Get(address + "status.json")
		if err != nil {
			t.Fatal(err)
		}
		err = json.NewDecoder(r.Body).Decode(&s)
		r.Body.Close()
		if err == nil && r.StatusCode == 200 && s.Clock.ErrorS.OK {
			return s
		}
	}
	t.Fatal("no status")
	return s
}

// lastMinute is the last full minute of a page's judged UTC, on this machine's own
// timescale, as its stream and its exchange say.
func lastMinute(t *testing.T, address string) timescale.Local {
	t.Helper()
	client := http.Client{Timeout: clitest.Patience}
	get := func(what string) *http.Response {
		r, err := client.Get(address + what)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { r.Body.Close() })
		return r
	}
	var tie struct{ Left, Own float64 }
	if err := json.NewDecoder(get("exchange").Body).Decode(&tie); err != nil {
		t.Fatal(err)
	}
	for lines := bufio.NewReader(get("live").Body); ; {
		line, err := lines.ReadString('\n')
		if err != nil {
			t.Fatal(err)
		}
		if data, ok := strings.CutPrefix(line, "data:"); ok {
			var e struct{ Boot, UTC float64 }
			if err := json.Unmarshal([]byte(data), &e); err != nil {
				t.Fatal(err)
			}
			return timescale.Local((e.Boot - tie.Left + tie.Own - math.Mod(e.UTC, 60_000)) * 1e6)
		}
	}
}

// TestMarkByHandReachesTheJudge: in a story with the hardware clock only, taps made
// where UTC's minutes truly are agree; taps a quarter of a minute off do not.
func TestMarkByHandReachesTheJudge(t *testing.T) {
	t.Parallel()
	address, number := liveDemo(t, "no-receiver")
	now(t, address)
	minute := lastMinute(t, address)
	taps := func(late time.Duration) url.Values {
		var at []string
		for i := 3; i >= 0; i-- {
			jitter := time.Duration(i%2) * 30 * time.Millisecond
			at = append(at, fmt.Sprintf("%.3f", float64(minute.Add(late+jitter-time.Duration(i)*time.Minute))/1e6))
		}
		return url.Values{"pin": {number}, "signal": {"WWV"}, "habit": {"count"}, "slack": {"4"}, "taps": {strings.Join(at, ",")}}
	}
	if code, text := post(t, address+"hand/mark", url.Values{"pin": {"x"}, "signal": {"WWV"}}); code != 403 || !strings.Contains(text, "noonmark pin") {
		t.Errorf("a wrong PIN: %d %s", code, text)
	}
	few := taps(0)
	few.Set("taps", strings.Split(few.Get("taps"), ",")[3])
	if code, text := post(t, address+"hand/mark", few); code != 422 || !strings.Contains(text, "too few") {
		t.Errorf("one tap: %d %s", code, text)
	}
	if code, text := post(t, address+"hand/mark", taps(50*time.Millisecond)); code != 200 || !strings.Contains(text, "4 taps used") {
		t.Fatalf("%d %s", code, text)
	}
	mark := func(trust string) {
		t.Helper()
		var last status.Reference
		for end := time.Now().Add(clitest.Patience); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
			for _, r := range now(t, address).References {
				if r.Kind == "operator" {
					if last = r; r.Trust == trust {
						return
					}
				}
			}
		}
		t.Errorf("want a mark that is %s, have %+v", trust, last)
	}
	mark(status.Trusted)
	if code, text := post(t, address+"hand/mark", taps(-15*time.Second)); code != 200 {
		t.Fatalf("%d %s", code, text)
	}
	mark(status.Doubted)
	// The slip is taken back: the mark before it stands again.
	if code, text := post(t, address+"hand/withdraw", url.Values{"pin": {"x"}}); code != 403 {
		t.Errorf("a wrong PIN takes a mark back: %d %s", code, text)
	}
	if code, text := post(t, address+"hand/withdraw", url.Values{"pin": {number}}); code != 200 || !strings.Contains(text, "taken back") {
		t.Fatalf("%d %s", code, text)
	}
	mark(status.Trusted)
	if code, text := post(t, address+"hand/borrow", url.Values{"pin": {number}, "source": {"network"}, "days": {"0"}, "slack": {"4"},
		"at": {fmt.Sprint(float64(hostclock.Now()) / 1e6)}, "utc": {fmt.Sprint(time.Now().UnixMilli())}}); code != 422 || !strings.Contains(text, "simulated") {
		t.Errorf("a real clock for a simulation: %d %s", code, text)
	}
	if code, text := post(t, address+"hand/use", url.Values{"pin": {number}, "mode": {"WSPR"}}); code != 200 {
		t.Errorf("%d %s", code, text)
	}
	inUse := ""
	for end := time.Now().Add(clitest.Patience); inUse != " WSPR" && time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		inUse = ""
		for _, m := range now(t, address).Modes {
			if m.InUse {
				inUse += " " + m.Mode
			}
		}
	}
	if inUse != " WSPR" {
		t.Errorf("in use:%s", inUse)
	}
}

func TestOwnAddressesAreNoWitness(t *testing.T) {
	for address, want := range map[string]bool{"": true, "rubbish": true, "127.0.0.1": true, "::1": true, "192.0.2.77": false, "2001:db8::7": false} {
		if got := web.OwnAddress(address); got != want {
			t.Errorf("%q: %v", address, got)
		}
	}
	addrs, err := net.InterfaceAddrs()
	if err != nil {
		t.Skip(err)
	}
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && !web.OwnAddress(n.IP.String()) {
			t.Errorf("%s is ours", n.IP)
		}
	}
}

// TestBorrowedWhileServing: where the station itself gives the time to the camp, a
// device that has its time from a network may have it from here, whatever its address.
func TestBorrowedWhileServing(t *testing.T) {
	for _, row := range []struct {
		gives  bool
		source string
		want   string // in the error; "" = taken
	}{
		{true, page.SourceNetwork, "may have it from here"},
		{true, page.SourceStation, "no witness"},
		{true, page.SourceSatellite, ""},
		{true, page.SourceHand, ""},
		{false, page.SourceNetwork, ""},
	} {
		st := station.New(station.Config{Live: true}, clockcheck.Learned{})
		owner := make(chan func())
		h := web.NewByHand(web.HandConfig{Owner: owner, Station: func() *station.Station { return st }, Live: true, Gives: row.gives,
			Ours: func(string) bool { return false }})
		go func() { (<-owner)() }()
		now := hostclock.Now()
		_, err := h.Borrow(page.Borrowed{Source: row.source, From: "192.0.2.77", At: now, UTC: timescale.UTCOf(time.Now())})
		p := hostclock.Sample()
		snap := st.Tick(station.Tick{Local: p.Local, System: p.System})
		if got := snap.Clock.Basis; (err == nil) != (row.want == "") || err != nil && !strings.Contains(err.Error(), row.want) ||
			(got == status.BasisNone) == (row.want == "") {
			t.Errorf("serving %v, %s: %v, basis %s", row.gives, row.source, err, got)
		}
	}
}

// TestServiceByHand: the number that noonmark pin shows opens what the page of a
// real service can do; the service's own machine lends it no clock.
func TestServiceByHand(t *testing.T) {
	t.Parallel()
	l, err := web.Listen("127.0.0.1:0", false)
	if err != nil {
		t.Fatal(err)
	}
	at := l.Addr().String()
	l.Close()
	run, set := t.TempDir(), filepath.Join(t.TempDir(), "noonmark.toml")
	if err := os.WriteFile(set, []byte("[publish]\nhttp = \""+at+"\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	cmd := exec.Command(clitest.Binary(t), "run", "--device", "/dev/no-receiver", "--rtc", "none", "--run-dir", run, "--state-dir", t.TempDir(), "--allow-disk", "--config", set)
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill()
	number := ""
	clitest.WaitFor(t, &log, "a page and its number", func() bool {
		code, out, _ := runArgs("pin", "--run-dir", run)
		number = strings.TrimSpace(out)
		r, err := http.Get("http://" + at + "/exchange")
		if err == nil {
			r.Body.Close()
		}
		return code == exit.OK && len(number) == 8 && err == nil
	})
	if code, text := post(t, "http://"+at+"/hand/borrow", url.Values{"pin": {number}, "source": {"network"}, "days": {"0"}, "slack": {"4"},
		"at": {fmt.Sprint(float64(hostclock.Now()) / 1e6)}, "utc": {fmt.Sprint(time.Now().UnixMilli())}}); code != 422 || !strings.Contains(text, "no witness") {
		t.Errorf("its own clock: %d %s", code, text)
	}
	path := filepath.Join(run, status.FileName)
	if code, text := post(t, "http://"+at+"/hand/use", url.Values{"pin": {number}, "mode": {"FT4"}}); code != 200 {
		t.Errorf("%d %s", code, text)
	}
	clitest.WaitFor(t, &log, "another mode in use", func() bool {
		for _, m := range clitest.Load(path).Modes {
			if m.InUse {
				return m.Mode == "FT4"
			}
		}
		return false
	})
	if s := clitest.Load(path); s.Clock.Basis != status.BasisNone {
		t.Errorf("a basis out of its own clock: %+v", s.Clock)
	}
	cmd.Process.Signal(os.Interrupt)
	if err := cmd.Wait(); err != nil {
		t.Errorf("%v\n%s", err, log.String())
	}
	if code, _, errOut := runArgs("pin", "--run-dir", run); code != exit.Cannot || !strings.Contains(errOut, "noonmark run") {
		t.Errorf("after the service: %d %s", code, errOut)
	}
}
