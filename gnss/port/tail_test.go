package port

import (
	"context"
	"io"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// script is a source in virtual time: bytes come at given instants.
type script struct {
	now   timescale.Local
	at    []timescale.Local // ascending; a sentence at each
	waits int               // how often the reader was woken
}

func (s *script) take(p []byte) int {
	n := 0
	for len(s.at) > 0 && s.at[0] <= s.now {
		n += copy(p[n:], sentence(rmcBody))
		s.at = s.at[1:]
	}
	return n
}

func (s *script) read(p []byte, wait time.Duration) (int, error) {
	if n := s.take(p); n > 0 || wait <= 0 {
		return n, nil
	}
	s.waits++
	if len(s.at) == 0 {
		return 0, io.EOF
	}
	if s.at[0] > s.now.Add(wait) {
		s.now = s.now.Add(wait)
		return 0, nil
	}
	s.now = s.at[0]
	return s.take(p), nil
}

func (s *script) rest(d time.Duration) { s.waits++; s.now = s.now.Add(d) }
func (s *script) setBaud(int) error    { return nil }
func (s *script) stop()                {}
func (s *script) Close() error         { return nil }
func (s *script) traits() traits       { return traits{rest: true} }

// TestTailOfABurst: bursts of 0.5 s each second; now and then a sentence comes late, after
// most of the burst was slept through. Within the pause that ends a burst it is its end
// and begins none; later it begins one. And sleeping through a burst costs two wake-ups.
func TestTailOfABurst(t *testing.T) {
	ms := func(n int) timescale.Local { return timescale.Local(time.Duration(n) * time.Millisecond) }
	var at []timescale.Local
	for second := range 60 {
		for i := 0; i <= 500; i += 50 {
			at = append(at, ms(second*1000+i))
		}
		switch second {
		case 30, 40, 50:
			at = append(at, ms(second*1000+570)) // 70 ms after the end
		case 35, 45, 55:
			at = append(at, ms(second*1000+750))
		}
	}
	src := &script{at: at}
	begun := map[int]int{} // bursts said to begin, by the millisecond of their second
	s := newSession(src, "x", 0, true, func() timescale.Local { return src.now }, func(ev Event) {
		if ev.First && ev.At > ms(25_000) {
			begun[int(ev.At%ms(1000))/1_000_000]++
		}
	})
	if err := s.run(context.Background()); err != io.EOF {
		t.Fatal(err)
	}
	waits := src.waits
	if begun[570] != 0 {
		t.Errorf("the end of a burst began one: %v", begun)
	}
	if begun[0] < 30 {
		t.Errorf("%d of 34 bursts (each sixteenth is looked at closely) were seen to begin: %v", begun[0], begun)
	}
	if perSecond := float64(waits) / 60; perSecond > 4 {
		t.Errorf("%.1f wake-ups a second", perSecond)
	} else {
		t.Logf("%.1f wake-ups a second; begun at %v", perSecond, begun)
	}
}
