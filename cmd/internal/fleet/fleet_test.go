package main

import (
	"encoding/json"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"noonmark/cmd/internal/clitest"
)

// What Prometheus sees of a fleet: where the stations are, their numbers, and nothing of
// one that fell silent.
func TestFleet(t *testing.T) {
	stations := begin(flags{Count: 3, Broker: "mqtt://127.0.0.1:1", Every: time.Minute})
	s := httptest.NewServer(handler(stations, "127.0.0.1:9"))
	defer s.Close()
	get := func(path string) (int, string) { return clitest.Get(t, s.URL+path) }
	if code, _ := get("/s/1/metrics"); code != 503 {
		t.Errorf("before its first turn: %d", code)
	}
	for _, one := range stations {
		one.turn(time.Minute)
	}
	stations[2].fall()
	for path, want := range map[string]int{"/s/0/metrics": 200, "/s/2/metrics": 503, "/s/3/metrics": 404, "/s/x/metrics": 404} {
		if code, text := get(path); code != want || want == 200 && !strings.Contains(text, "noonmark_live 1") {
			t.Errorf("%s: %d, want %d\n%.200s", path, code, want, text)
		}
	}
	_, text := get("/targets")
	var groups []struct {
		Targets []string
		Labels  map[string]string
	}
	if err := json.Unmarshal([]byte(text), &groups); err != nil || len(groups) != 3 || groups[1].Labels["instance"] != "camp-0001" || groups[1].Labels["__metrics_path__"] != "/s/1/metrics" {
		t.Errorf("%v: %s", err, text)
	}
}

// A station plays so much time, and each is another one.
func TestVirtual(t *testing.T) {
	a, b := newVirtual(0), newVirtual(1)
	was := a.w.UTC()
	first := a.play(time.Minute)
	if got := a.w.UTC().Sub(was); got < time.Minute {
		t.Errorf("%v played", got)
	}
	if other := b.play(time.Minute); first.Position != nil && other.Position != nil && first.Position.Locator == other.Position.Locator && first.Position.LatDeg == other.Position.LatDeg {
		t.Error("two stations at one place")
	}
}
