package pin

import (
	"bytes"
	"crypto/rand"
	"errors"
	"regexp"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

func newGuard(t *testing.T) *Guard {
	t.Helper()
	g, err := New(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// not is a number of the right length that is not the guard's.
func not(g *Guard) string {
	p := []byte(g.PIN())
	p[0] = '0' + (p[0]-'0'+1)%10
	return string(p)
}

func TestCheck(t *testing.T) {
	g := newGuard(t)
	if !regexp.MustCompile(`^[0-9]{6}$`).MatchString(g.PIN()) {
		t.Fatalf("PIN %q", g.PIN())
	}
	for _, bad := range []string{"", not(g), g.PIN()[:5], g.PIN() + "0"} {
		if err := newLike(g).Check(bad, 0); !errors.Is(err, ErrWrong) {
			t.Errorf("%q: %v", bad, err)
		}
	}
	for _, good := range []string{g.PIN(), " " + g.PIN()[:3] + " " + g.PIN()[3:] + "\n"} {
		if err := g.Check(good, 0); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
}

func newLike(g *Guard) *Guard { return &Guard{random: g.random, pin: g.pin} }

// Whoever guesses as fast as he may gets one try in 30 s, and a new number each 20.
func TestGuessingIsSlow(t *testing.T) {
	g := newGuard(t)
	first, tries, now := g.PIN(), 0, timescale.Local(0)
	for now < timescale.Local(24*time.Hour) {
		err := g.Check(not(g), now)
		var wait WaitError
		switch {
		case errors.As(err, &wait):
			if wait.For <= 0 || wait.For > longest {
				t.Fatalf("wait %v", wait.For)
			}
			if g.Check(g.PIN(), now) == nil {
				t.Fatal("looked at a number while there was a wait")
			}
			now = now.Add(wait.For)
		case errors.Is(err, ErrWrong):
			tries++
		default:
			t.Fatal(err)
		}
	}
	if most := 24*3600/30 + 10; tries > most {
		t.Errorf("%d tries in a day, want at most %d", tries, most)
	}
	if g.PIN() == first {
		t.Error("the number is the same after a day of guessing")
	}
	if err := g.Check(g.PIN(), now.Add(longest)); err != nil {
		t.Errorf("the right number after the wait: %v", err)
	}
	if err := g.Check(not(g), now.Add(longest)); !errors.Is(err, ErrWrong) {
		t.Error(err)
	}
	if err := g.Check(g.PIN(), now.Add(longest)); err != nil {
		t.Errorf("a single slip makes nobody wait: %v", err)
	}
}

func TestNoRandomness(t *testing.T) {
	if _, err := New(bytes.NewReader(nil)); err == nil {
		t.Error("a PIN out of nothing")
	}
}
