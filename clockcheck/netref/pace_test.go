package netref

import (
	"testing"
	"time"

	"noonmark/clockcheck/timescale"

	"pgregory.net/rapid"
)

// feed plays events into a pace, each at the time it is due, and returns the
// waits in seconds. A answered, F failed, S told to slow down, N no network.
func feed(events string) []int {
	p := NewPace(start)
	var waits []int
	for _, e := range events {
		now := p.due
		switch e {
		case 'A':
			p.Answered(now, 0)
		case 'F':
			p.Failed(now, 0)
		case 'S':
			p.SlowDown(now, 0)
		case 'N':
			p.Offline(now)
		}
		waits = append(waits, int(p.due.Sub(now)/time.Second))
	}
	return waits
}

func TestPace(t *testing.T) {
	tests := []struct {
		name, events string
		want         []int
	}{
		{"silence", "FFFFFFFFFF", []int{64, 128, 256, 512, 1024, 2048, 4096, 8192, 8192, 8192}},
		{"silence after an answer", "AFFA", []int{16, 64, 128, 64}},
		{"slow down", "SAAASA", []int{256, 256, 256, 256, 512, 512}},
		{"slow down among the quick ones", "AASA", []int{16, 16, 256, 256}},
		{"slow down, then silence and back", "SFFA", []int{256, 256, 512, 256}},
		{"no network", "NNNA", []int{30, 30, 30, 16}},
		{"good", "AAAAAAAAAAAAAAAAAAAA", []int{16, 16, 16, 64, 64, 64, 64, 64, 64, 64, 128, 128, 128, 128, 128, 128, 128, 128, 256, 256}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := feed(tt.events)
			for i := range tt.want {
				if got[i] != tt.want[i] {
					t.Fatalf("waits %v, want %v", got, tt.want)
				}
			}
		})
	}
	stopped := NewPace(start)
	stopped.Stop()
	stopped.NetworkChanged(start.Add(time.Hour))
	if _, ok := stopped.Next(); ok {
		t.Error("a server that refused is asked again")
	}
}

// The laws: whatever happens, packets are at least 16 s apart, at least 64 s
// from the fifth on, at least 256 s after RATE; no wait is longer than 2^13 s
// and its sixteenth.
func TestPaceLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := NewPace(start)
		now := start
		var last timescale.Local
		sent, rated := 0, false
		for range rapid.IntRange(1, 200).Draw(t, "n") {
			if rapid.IntRange(0, 4).Draw(t, "early") == 0 {
				now = now.Add(time.Duration(rapid.Int64Range(0, int64(max(p.due.Sub(now), 1))).Draw(t, "after")))
				p.NetworkChanged(now)
			}
			now = max(now, p.due)
			spread := rapid.Float64Range(0, 0.999).Draw(t, "spread")
			event := rapid.SampledFrom([]string{"answered", "answered", "answered", "failed", "slow", "offline"}).Draw(t, "event")
			if event == "offline" {
				p.Offline(now)
				continue
			}
			if gap := now.Sub(last); sent > 0 && (gap < quick || sent >= quickOnes && gap < steady || rated && gap < 4*steady) {
				t.Fatalf("question %d only %v after the last", sent+1, gap)
			}
			last = now
			sent++
			switch event {
			case "answered":
				p.Answered(now, spread)
			case "failed":
				p.Failed(now, spread)
			default:
				p.SlowDown(now, spread)
				rated = true
			}
			if d := p.due.Sub(now); d > longest+longest/16 {
				t.Fatalf("waits %v", d)
			}
		}
	})
}

func TestNetworkChange(t *testing.T) {
	p := NewPace(start)
	p.Failed(start, 0)
	p.Failed(start.Add(64*time.Second), 0)
	p.Failed(start.Add(192*time.Second), 0) // next at 448 s
	p.NetworkChanged(start.Add(200 * time.Second))
	if got := p.due.Sub(start); got != 256*time.Second {
		t.Errorf("a silent server is asked at %v, want one steady wait after the last question", got)
	}
	p = NewPace(start)
	p.Offline(start)
	p.NetworkChanged(start.Add(5 * time.Second))
	if got := p.due.Sub(start); got != 7*time.Second {
		t.Errorf("a server never asked is asked at %v", got)
	}
	p = NewPace(start)
	p.Answered(start, 0)
	before := p.due
	p.NetworkChanged(start.Add(time.Second))
	if p.due != before {
		t.Error("a server that answers is asked out of turn")
	}
}
