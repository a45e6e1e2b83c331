package service

import (
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/hostclock"
	"noonmark/status"
	"noonmark/status/page"
)

// TestNightOverARestart: what the page recorded comes back to the next run of the service
// in this boot; a damaged record is left alone and the service goes on.
func TestNightOverARestart(t *testing.T) {
	dir := t.TempDir()
	run := func() *service {
		publish, err := status.NewPublisher(dir, true)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { publish.Close() })
		s := &service{log: slog.New(slog.DiscardHandler), publish: publish, said: map[string]string{},
			page: page.New(page.Config{Now: hostclock.Now, Boot: hostclock.BootNow})}
		s.openNight()
		return s
	}
	put := func(s *service, ago time.Duration) {
		at := hostclock.BootNow().Add(-ago)
		s.page.Put(page.Update{At: hostclock.Now(), Snapshot: &status.Snapshot{Live: true, Written: status.Written{BootID: hostclock.BootID(), BoottimeS: at.Sub(0).Seconds()}}})
	}
	points := func(s *service) int { return strings.Count(string(s.page.Night()), "null,null,null") }
	first := run()
	put(first, 2*time.Second)
	first.keepNight(timescale.Local(nightEvery) + 1)
	first.publish.Close()
	if b, err := os.ReadFile(filepath.Join(dir, nightName)); err != nil || !strings.Contains(string(b), hostclock.BootID()) {
		t.Fatalf("%.80s, %v", b, err)
	}
	second := run()
	if second.page.Night() != nil || second.page.Snapshot() != nil {
		t.Error("the record became a status")
	}
	put(second, 0)
	if n := points(second); n < 2 {
		t.Errorf("%d points after the restart", n)
	}
	second.saveNight()
	second.publish.Close()
	if err := os.WriteFile(filepath.Join(dir, nightName), []byte("torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	third := run()
	put(third, 0)
	if n := points(third); n != 1 {
		t.Errorf("%d points out of a damaged record", n)
	}
}
