// Package pin guards what changes a station's time by hand: a short number that only
// somebody at the station's own command line can see, and checks that cannot be
// hurried. Any goroutine may call. Time is an argument.
//
// Wrong tries are counted for the station as a whole, for an address can be forged on
// a camp's own network: that somebody else's wrong tries make the operator wait, half a
// minute at most, is the lesser evil. At 6 digits, a try in 30 s and a new number after
// 20 wrong tries, a day of guessing succeeds once in 350.
package pin

import (
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"io"
	"math/big"
	"strings"
	"sync"
	"time"

	"noonmark/clockcheck/timescale"
)

const (
	digits    = 6
	free      = 3 // wrong tries before there is a wait
	firstWait = 2 * time.Second
	longest   = 30 * time.Second
	renewAt   = 20
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
	mu     sync.Mutex
	random io.Reader
	pin    string
	wrong  int
	until  timescale.Local
}

// New draws a number. random is crypto/rand.Reader but for tests.
func New(random io.Reader) (*Guard, error) {
	g := &Guard{random: random}
	return g, g.renew()
}

func (g *Guard) renew() error {
	limit := new(big.Int).Exp(big.NewInt(10), big.NewInt(digits), nil)
	n, err := rand.Int(g.random, limit)
	if err != nil {
		return fmt.Errorf("pin: draw a number: %w", err)
	}
	g.pin = fmt.Sprintf("%0*d", digits, n)
	return nil
}

// PIN is the number to show at the station.
func (g *Guard) PIN() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.pin
}

// Check looks at a number given at an instant; blanks in it do not matter. The error
// is ErrWrong or a WaitError, or says that no new number could be drawn.
func (g *Guard) Check(given string, now timescale.Local) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if left := g.until.Sub(now); left > 0 {
		return WaitError{left}
	}
	given = strings.Join(strings.Fields(given), "")
	if subtle.ConstantTimeCompare([]byte(given), []byte(g.pin)) == 1 {
		g.wrong = 0
		return nil
	}
	g.wrong++
	if over := g.wrong - free; over >= 0 {
		g.until = now.Add(min(firstWait<<min(over, 8), longest))
	}
	if g.wrong%renewAt == 0 {
		if err := g.renew(); err != nil {
			return err
		}
	}
	return ErrWrong
}
