package pin

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// Addresses of RFC 5737 and RFC 3849.
const (
	operator = "192.0.2.7"
	guesser  = "192.0.2.66"
	station  = "127.0.0.1"
)

func newGuard(t testing.TB) *Guard {
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
	if !regexp.MustCompile(`^[0-9]{8}$`).MatchString(g.PIN()) {
		t.Fatalf("PIN %q", g.PIN())
	}
	for _, bad := range []string{"", not(g), g.PIN()[:7], g.PIN() + "0", strings.Repeat("0", 1<<20)} {
		if err := g.Check(bad, bad[:min(len(bad), 3)], 0); !errors.Is(err, ErrWrong) {
			t.Errorf("%.20q: %v", bad, err)
		}
	}
	for _, good := range []string{g.PIN(), " " + g.PIN()[:4] + " " + g.PIN()[4:] + "\n"} {
		if err := g.Check(good, operator, 0); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
}

// guess gives wrong numbers from an address as fast as it may until an instant, and
// returns how many were looked at.
func guess(t *testing.T, g *Guard, from string, now, end timescale.Local) (tries int) {
	t.Helper()
	for now < end {
		err := g.Check(not(g), from, now)
		var wait WaitError
		switch {
		case errors.As(err, &wait):
			if wait.For <= 0 {
				t.Fatalf("wait %v", wait.For)
			}
			if g.Check(g.PIN(), from, now) == nil {
				t.Fatal("looked at a number while there was a wait")
			}
			now = now.Add(wait.For)
		case errors.Is(err, ErrWrong):
			tries++
		default:
			t.Fatal(err)
		}
	}
	return tries
}

// TestGuessingIsSlow: one try in 30 s, for strangers and at the station alike, and the
// number that is shown stays the right one.
func TestGuessingIsSlow(t *testing.T) {
	for _, from := range []string{guesser, station} {
		g := newGuard(t)
		shown := g.PIN()
		day := timescale.Local(24 * time.Hour)
		if tries, most := guess(t, g, from, 0, day), 24*3600/30+strangers+10; tries > most {
			t.Errorf("%s: %d tries in a day, want at most %d", from, tries, most)
		}
		if err := g.Check(shown, from, day.Add(longest)); err != nil {
			t.Errorf("%s: the number shown, after the wait: %v", from, err)
		}
		if err := g.Check(not(g), from, day.Add(longest)); !errors.Is(err, ErrWrong) {
			t.Error(err)
		}
		if err := g.Check(g.PIN(), from, day.Add(longest)); err != nil {
			t.Errorf("a single slip makes nobody wait: %v", err)
		}
	}
}

// TestNobodyKeepsTheOperatorOut: while one address guesses, and while a crowd of them
// does, the right number opens for who gave it before and at the station, each time;
// while only one guesses, for a stranger too.
func TestNobodyKeepsTheOperatorOut(t *testing.T) {
	g := newGuard(t)
	for s := range 600 {
		now := timescale.Local(s) * timescale.Local(time.Second)
		for range 10 {
			g.Check(not(g), guesser, now)
		}
		if err := g.Check(g.PIN(), fmt.Sprintf("192.0.2.%d", 100+s%100), now); err != nil {
			t.Fatalf("after %d s of one guesser a stranger hears %v", s, err)
		}
	}
	g = newGuard(t)
	if err := g.Check(g.PIN(), operator, 0); err != nil {
		t.Fatal(err)
	}
	looked := 0
	const seconds = 3600
	for s := range seconds {
		now := timescale.Local(s) * timescale.Local(time.Second)
		for i := range 100 {
			if errors.Is(g.Check(not(g), fmt.Sprintf("2001:db8::%x:%x", s, i), now), ErrWrong) {
				looked++
			}
		}
		for _, from := range []string{operator, station, "::1", "::ffff:127.0.0.1"} {
			if err := g.Check(g.PIN(), from, now); err != nil {
				t.Fatalf("after %d s of a crowd %s hears %v", s, from, err)
			}
		}
	}
	if most := strangers + seconds/int(strangersEvery/time.Second) + 1; looked > most {
		t.Errorf("%d numbers of a crowd were looked at in an hour, want at most %d", looked, most)
	}
	if n := len(g.tries); n > remembered+1 {
		t.Errorf("%d addresses remembered", n)
	}
}

func TestNoRandomness(t *testing.T) {
	if _, err := New(bytes.NewReader(nil)); err == nil {
		t.Error("a PIN out of nothing")
	}
}

// BenchmarkSame shows what a listener with a stopwatch could learn: the first digit
// wrong, the last digit wrong, the length wrong.
func BenchmarkSame(b *testing.B) {
	g := newGuard(b)
	last := []byte(g.PIN())
	last[digits-1] = '0' + (last[digits-1]-'0'+1)%10
	for name, given := range map[string]string{"first": not(g), "last": string(last), "short": g.PIN()[:4], "right": g.PIN()} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				g.same(given)
			}
		})
	}
}

// TestTimeOfTheComparison prints how long a wrong number of the right length takes by where
// it is wrong: the least of many rounds taken in turn, for what a busy machine adds is never
// less than nothing. It judges only when it is asked to (NOONMARK_TIMING=1), on a quiet machine.
func TestTimeOfTheComparison(t *testing.T) {
	g, rounds, each := newGuard(t), 20, 200
	if os.Getenv("NOONMARK_TIMING") != "" {
		rounds, each = 4000, 1000
	}
	given := make([]string, digits)
	for i := range given {
		p := []byte(g.PIN())
		p[i] = '0' + (p[i]-'0'+1)%10
		given[i] = string(p)
	}
	least := make([]time.Duration, digits)
	for range rounds {
		for i, s := range given {
			begin := time.Now()
			for range each {
				g.same(s)
			}
			if took := time.Since(begin); least[i] == 0 || took < least[i] {
				least[i] = took
			}
		}
	}
	perCall := func(d time.Duration) float64 { return float64(d.Nanoseconds()) / float64(each) }
	spread := perCall(slices.Max(least)) - perCall(slices.Min(least))
	for i, d := range least {
		t.Logf("digit %d wrong: %.1f ns", i+1, perCall(d))
	}
	t.Logf("spread %.1f ns", spread)
	// Over the air a device's answer comes with milliseconds of jitter; 30 s pass between two
	// guesses. 2 % of a comparison is far below both.
	if os.Getenv("NOONMARK_TIMING") != "" && spread > 0.02*perCall(slices.Min(least)) {
		t.Errorf("the time tells which digit is wrong: %.1f ns", spread)
	}
}
