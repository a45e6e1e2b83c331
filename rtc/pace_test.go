package rtc

import (
	"testing"
	"time"
)

// Roughly at once, finely ten times, then rarely; a setting and a sleep begin with the fine
// looks again.
func TestPace(t *testing.T) {
	var p Pace
	if p.Want() != 100*time.Millisecond {
		t.Errorf("the first look wants %v", p.Want())
	}
	total := p.Looked()
	for range 9 {
		if p.Want() != 2*time.Millisecond {
			t.Errorf("a later look wants %v", p.Want())
		}
		total += p.Looked()
	}
	if total != 9*time.Minute+time.Second {
		t.Errorf("ten looks take %v", total)
	}
	if d := p.Looked(); d != 10*time.Minute {
		t.Errorf("then each %v", d)
	}
	if d := p.Woke(); d != 0 {
		t.Errorf("after a sleep it waits %v", d)
	}
	for _, again := range []func() time.Duration{p.Set, p.Woke} {
		d := again()
		if d > 2*time.Second || p.Want() != 2*time.Millisecond || p.Looked() != time.Minute {
			t.Errorf("after %v it looks rarely", d)
		}
	}
}
