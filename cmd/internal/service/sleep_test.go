package service

import (
	"io"
	"log/slog"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/station"
	"noonmark/status"
)

// What is brought in after the machine slept belongs to the time after: the sleep is judged
// before it, and the hardware clock is asked at once. Without that a reading of the time
// after stood beside the local timescale of before, and the clock was stepped by the sleep.
func TestSleepIsJudgedBeforeWhatComesAfter(t *testing.T) {
	publish, err := status.NewPublisher(t.TempDir(), true)
	if err != nil {
		t.Fatal(err)
	}
	defer publish.Close()
	slept := time.Duration(0)
	s := &service{log: slog.New(slog.NewTextHandler(io.Discard, nil)), said: map[string]string{}, publish: publish,
		woke: make(chan struct{}, 1), suspended: func() time.Duration { return slept },
		station: station.New(station.Config{Live: true}, clockcheck.Learned{})}
	ticks := 0
	taken := func() { ticks++ }
	s.take(taken)
	if len(s.woke) != 0 || s.ready {
		t.Fatal("an event without a sleep was judged as one")
	}
	slept = 90 * time.Second
	judgedFirst := false
	s.take(func() { judgedFirst = s.ready; taken() }) // the first tick makes it ready
	if !judgedFirst || ticks != 2 {
		t.Errorf("judged before the event: %v; %d events", judgedFirst, ticks)
	}
	s.noteSleep(s.slept + slept)
	if len(s.woke) != 1 {
		t.Error("the hardware clock is not asked after a sleep")
	}
}
