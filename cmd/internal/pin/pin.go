// Package pin guards what changes a station's time by hand: a number that only
// somebody at the station's own command line can see, and checks that cannot be
// hurried. Any goroutine may call. Time is an argument.
//
// Two limits stand beside each other. Each address waits after wrong numbers, so that
// a guesser makes nobody wait but himself. And all addresses that never gave the right
// number share one budget of wrong ones, so that somebody with many addresses guesses
// no faster. An address that once gave the right number, and the station itself, are
// outside that budget: nobody can keep the operator out.
//
// With 8 digits, and a wrong try in 30 s for each of the two, a day of guessing by
// everybody at once succeeds once in 17,000. The number does not change while the
// service runs, so that the one shown is always the right one.
//
// The number travels as it is. Over plain HTTP whoever listens on the camp's network
// can read it when it is used; a challenge would not help, for a number short enough
// to type is found from challenge and answer by trying all. What it opens is what the
// operator may do by hand on the page, and nothing else.
package pin

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net/netip"
	"strings"
	"sync"
	"time"

	"noonmark/clockcheck/timescale"
)

const (
	digits    = 8
	free      = 3 // wrong tries of one address before it waits
	firstWait = 2 * time.Second
	longest   = 30 * time.Second
	// The budget of all strangers together: so many wrong tries at once, then one in
	// each interval.
	strangers      = 20
	strangersEvery = 30 * time.Second
	remembered     = 1024 // addresses, of strangers; as many of those who gave it
)

// ErrWrong says that the number is not the one shown by "noonmark pin".
var ErrWrong = errors.New("wrong PIN: \"noonmark pin\" on the station shows it")

// WaitError says that there were too many wrong tries lately. The number that was
// given has not been looked at.
type WaitError struct{ For time.Duration }

func (e WaitError) Error() string {
	return fmt.Sprintf("too many wrong PINs: wait %d s", int((e.For+time.Second-1)/time.Second))
}

// Guard holds the number. Make one with New.
type Guard struct {
	mu    sync.Mutex
	pin   string
	tries map[string]try  // by address
	known map[string]bool // addresses that gave the right number
	paid  timescale.Local // the strangers' wrong tries have used up the budget to here
}

// try is what is remembered of an address.
type try struct {
	wrong int
	until timescale.Local // no number is looked at before
}

// New draws a number. random is crypto/rand.Reader but for tests.
func New(random io.Reader) (*Guard, error) {
	limit := new(big.Int).Exp(big.NewInt(10), big.NewInt(digits), nil)
	n, err := rand.Int(random, limit)
	if err != nil {
		return nil, fmt.Errorf("pin: draw a number: %w", err)
	}
	return &Guard{pin: fmt.Sprintf("%0*d", digits, n), tries: map[string]try{}, known: map[string]bool{}}, nil
}

// PIN is the number to show at the station.
func (g *Guard) PIN() string { return g.pin }

// Check looks at a number given by an address at an instant; blanks in it do not
// matter. The error is ErrWrong or a WaitError.
func (g *Guard) Check(given, from string, now timescale.Local) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	t := g.tries[from]
	if left := t.until.Sub(now); left > 0 {
		return WaitError{left}
	}
	stranger := !g.known[from] && !here(from)
	paid := max(g.paid, now).Add(strangersEvery)
	if over := paid.Sub(now) - strangers*strangersEvery; stranger && over > 0 {
		return WaitError{over}
	}
	if g.same(given) {
		delete(g.tries, from)
		if len(g.known) < remembered {
			g.known[from] = true
		}
		return nil
	}
	if stranger {
		g.paid = paid
	}
	t.wrong++
	if over := t.wrong - free; over >= 0 {
		t.until = now.Add(min(firstWait<<min(over, 8), longest))
	}
	g.forget(now)
	g.tries[from] = t
	return ErrWrong
}

// same compares in a time that does not depend on what was given: sums of equal length,
// byte by byte to the end.
func (g *Guard) same(given string) bool {
	a := sha256.Sum256([]byte(strings.Join(strings.Fields(given), "")))
	b := sha256.Sum256([]byte(g.pin))
	return subtle.ConstantTimeCompare(a[:], b[:]) == 1
}

// forget makes room: addresses that need not wait go. Those that wait are no more than
// the budget lets through in longest, and those of the known and of the station.
func (g *Guard) forget(now timescale.Local) {
	if len(g.tries) < remembered {
		return
	}
	for from, t := range g.tries {
		if t.until <= now {
			delete(g.tries, from)
		}
	}
}

// here: the station's own addresses for itself.
func here(from string) bool {
	a, err := netip.ParseAddr(from)
	return err == nil && a.Unmap().IsLoopback()
}
