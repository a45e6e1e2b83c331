package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/rehearsal"
	"noonmark/cmd/internal/web"
	"noonmark/status"
	"noonmark/status/page"
	"noonmark/status/page/pagetest"
)

// TestDemoPageTellsTheStory watches the demo's page in a browser through the whole
// story, 800 times as fast as it happens: what it shows is what the status says,
// and every turn of the story is seen.
func TestDemoPageTellsTheStory(t *testing.T) {
	t.Parallel()
	b := pagetest.Open(t)
	b.Size(1280, 900)
	dir := t.TempDir()
	read, write := io.Pipe()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- rehearsal.Demo(ctx, cli.Demo{Speed: 800, Seed: 1, HTTP: "127.0.0.1:0", RunDir: dir}, write)
		write.Close()
	}()
	t.Cleanup(func() { cancel(); read.Close(); <-done })
	lines := bufio.NewReader(read)
	url := ""
	for url == "" {
		line, err := lines.ReadString('\n')
		if err != nil {
			t.Fatal(err, <-done)
		}
		if _, after, ok := strings.Cut(line, "Page: "); ok {
			url = strings.TrimSpace(after)
		}
	}
	go io.Copy(io.Discard, lines)
	b.Go(url)
	type shown struct {
		State, Lamp string
		Simulated   bool
	}
	var seen []string
	parted := time.Time{} // since when page and status say different things
	for end := time.Now().Add(2 * time.Minute); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		before := verdictIn(filepath.Join(dir, status.FileName))
		now := pagetest.Eval[shown](b, `({State: document.documentElement.dataset.state, Lamp: document.getElementById("lamp-satellites")?.dataset.lamp ?? "",
			Simulated: document.getElementById("sim").checkVisibility()})`)
		after := verdictIn(filepath.Join(dir, status.FileName))
		if now.State == "gone" && len(seen) > 0 {
			break // the story has ended, and the page says so
		}
		// At this speed a verdict may come and go between two looks, and the page is a
		// moment behind: what must not be is that the two stay apart.
		switch {
		case now.State == before || now.State == after || after == "":
			parted = time.Time{}
		case parted.IsZero():
			parted = time.Now()
		case time.Since(parted) > 5*time.Second:
			t.Fatalf("the page says %s, the status %s, for 5 s", now.State, after)
		}
		if now.State != "gone" && !now.Simulated {
			t.Error("the page does not say that it is a simulation")
		}
		turn := now.Lamp + " " + now.State
		if len(seen) == 0 || seen[len(seen)-1] != turn {
			seen = append(seen, turn)
			b.Shot(fmt.Sprintf("story-%02d-%s", len(seen), strings.ReplaceAll(turn, " ", "-")))
		}
	}
	// The first turn, GNSS within, may be over before a slow browser shows a page.
	for _, want := range []string{"lost within", "lost borderline", "on within"} {
		i := slices.Index(seen, want)
		if i < 0 {
			t.Fatalf("the page showed %q; no %q at its place", seen, want)
		}
		seen = seen[i+1:]
	}
	b.Wait(`document.documentElement.dataset.state === "gone"`, 5*time.Second)
}

// verdictIn is what a status file says of FT8.
func verdictIn(path string) string {
	b, err := os.ReadFile(path)
	var s status.Snapshot
	if err != nil || json.Unmarshal(b, &s) != nil {
		return ""
	}
	for _, m := range s.Modes {
		if m.Mode == "FT8" {
			return m.Verdict
		}
	}
	return ""
}

// served serves a page on loopback with the limits of the service.
func served(t *testing.T) (p *page.Page, address string) {
	t.Helper()
	l, err := web.Listen("127.0.0.1:0", false)
	if err != nil {
		t.Fatal(err)
	}
	p = web.NewPage(1, nil)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- web.Serve(ctx, l, p) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return p, l.Addr().String()
}

func TestForeignNamesAreRefused(t *testing.T) {
	_, address := served(t)
	name, _ := os.Hostname()
	for host, want := range map[string]int{"evil.example": 421, "": 400, "127.0.0.1.evil.example": 421, "localhost.evil.example:8173": 421,
		address: 200, "localhost": 200, "[::1]:8173": 200, strings.ToUpper(name): 200, name + ".local:8173": 200} {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(c, "GET / HTTP/1.1\r\nHost: %s\r\nConnection: close\r\n\r\n", host)
		r, err := http.ReadResponse(bufio.NewReader(c), nil)
		if err != nil {
			t.Fatal(err)
		}
		c.Close()
		if r.StatusCode != want && host != "" || host == "" && r.StatusCode < 400 {
			t.Errorf("%q: %d, want %d", host, r.StatusCode, want)
		}
	}
}

// TestIdleClientsDoNotStallTheOwner: a thousand connections that say nothing, or
// begin and never end, from enough addresses to take every place, keep neither the
// owner of the station nor a decent reader waiting for longer than the time a header
// may take.
func TestIdleClientsDoNotStallTheOwner(t *testing.T) {
	t.Parallel()
	p, address := served(t)
	for i := range 1000 {
		from := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, byte(10+i%10))}}
		c, err := from.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		if i%2 == 0 {
			fmt.Fprint(c, "GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: ")
		}
	}
	snap := &status.Snapshot{Written: status.Written{BoottimeS: 1, StaleAfterS: 3}}
	var took []time.Duration
	for i := range 20 {
		begin := time.Now()
		p.Put(page.Update{Snapshot: snap, At: timescale.Local(i+1) * 1e9})
		took = append(took, time.Since(begin))
	}
	slices.Sort(took)
	if worst := took[len(took)-3]; worst > 100*time.Millisecond { // two may be a busy machine's doing
		t.Errorf("handing over a snapshot took %s", worst)
	}
	// All of them count as the station's own: a newcomer is turned away until they are
	// dropped, and then let in.
	begin, client := time.Now(), &http.Client{Timeout: 4 * web.HeaderTimeout}
	for {
		r, err := client.Get("http://" + address + "/exchange")
		if err == nil {
			r.Body.Close()
		}
		switch {
		case err == nil && r.StatusCode == 200:
			return
		case err == nil && r.StatusCode != http.StatusTooManyRequests:
			t.Fatalf("a decent reader got %s", r.Status)
		case time.Since(begin) > 3*web.HeaderTimeout+clitest.Patience:
			t.Fatalf("a decent reader waited %s: %v", time.Since(begin), err)
		}
		time.Sleep(100 * time.Millisecond)
	}
}
