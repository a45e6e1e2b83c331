// Package pin is the lock on what can be done by hand from afar: a short number
// that only somebody at the station can see, and a limit to guessing it.
//
// A Lock may be used from any goroutine. Time is an argument.
package pin

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"noonmark/clockcheck/timescale"
)

// digits of the number. With guessesAll guesses a minute, half of all numbers take
// more than two weeks; a start of the service makes a new one.
const (
	digits     = 6
	guessesOne = 5  // wrong ones a minute from one address
	guessesAll = 20 // wrong ones a minute from all
	minute     = timescale.Local(60e9)
)

// FileName is the name of the file that shows the number to who may read it.
const FileName = "pin"

// Answer to a guess.
type Answer int

// What a Lock says of a guess.
const (
	Wrong Answer = iota
	Wait         // too many wrong ones of late: it was not looked at
	Right
)

// Lock holds a number. Make one with New.
type Lock struct {
	number string

	mu    sync.Mutex
	begin timescale.Local
	all   int
	from  map[string]int
}

// New makes a lock with a number nobody can foresee.
func New() (*Lock, error) {
	limit := big.NewInt(1)
	for range digits {
		limit.Mul(limit, big.NewInt(10))
	}
	n, err := rand.Int(rand.Reader, limit)
	if err != nil {
		return nil, fmt.Errorf("pin: %w", err)
	}
	return &Lock{number: fmt.Sprintf("%0*d", digits, n), from: make(map[string]int)}, nil
}

// Number is what opens the lock.
func (l *Lock) Number() string { return l.number }

// Try answers a guess of somebody at an address. While too many wrong ones came in
// this minute, not even the right one is taken: its taking would tell it.
func (l *Lock) Try(guess, from string, now timescale.Local) Answer {
	l.mu.Lock()
	defer l.mu.Unlock()
	if now-l.begin >= minute || now < l.begin {
		l.begin, l.all = now, 0
		clear(l.from)
	}
	if l.all >= guessesAll || l.from[from] >= guessesOne {
		return Wait
	}
	if subtle.ConstantTimeCompare([]byte(strings.TrimSpace(guess)), []byte(l.number)) == 1 {
		return Right
	}
	l.all++
	l.from[from]++
	return Wrong
}

// Show writes the number into the file of the run directory dir, for its owner only.
func (l *Lock) Show(dir string) error {
	path := filepath.Join(dir, FileName)
	if err := os.Remove(path); err != nil && !os.IsNotExist(err) {
		return fmt.Errorf("pin: %w", err)
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("pin: %w", err)
	}
	if _, err = fmt.Fprintln(f, l.number); err != nil {
		f.Close()
		return fmt.Errorf("pin: %w", err)
	}
	return f.Close()
}

// Hide removes the file again.
func Hide(dir string) { os.Remove(filepath.Join(dir, FileName)) }

// Read gives the number that the service shows in dir.
func Read(dir string) (string, error) {
	b, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil {
		return "", fmt.Errorf("pin: %w", err)
	}
	return strings.TrimSpace(string(b)), nil
}
