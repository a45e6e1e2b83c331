package pin

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"noonmark/clockcheck/timescale"
)

func lock(t *testing.T) *Lock {
	t.Helper()
	l, err := New()
	if err != nil {
		t.Fatal(err)
	}
	if n := l.Number(); len(n) != digits {
		t.Fatalf("the number is %q", n)
	}
	return l
}

func TestGuessesAreLimited(t *testing.T) {
	l := lock(t)
	now := timescale.Local(1e9)
	for i := range guessesOne {
		for _, guess := range []string{"", "x", l.Number() + "0"} {
			if i == 0 && guess != "" {
				continue
			}
			if got := l.Try(guess, "a", now); i < guessesOne && got == Right {
				t.Fatalf("%q opens it", guess)
			}
		}
	}
	if got := l.Try(l.Number(), "a", now); got != Wait {
		t.Errorf("after many wrong guesses the right one gives %v", got)
	}
	if got := l.Try(l.Number(), "b", now); got != Right {
		t.Errorf("somebody else's right guess gives %v", got)
	}
	for i := range 100 {
		l.Try("wrong", fmt.Sprint("c", i), now)
	}
	if got := l.Try(l.Number(), "b", now); got != Wait {
		t.Errorf("after many wrong guesses of many the right one gives %v", got)
	}
	if len(l.from) > guessesAll+1 {
		t.Errorf("%d guessers are remembered", len(l.from))
	}
	if got := l.Try(" "+l.Number()+"\n", "a", now+minute); got != Right {
		t.Errorf("a minute later it gives %v", got)
	}
}

func TestNumbersDiffer(t *testing.T) {
	seen := map[string]bool{}
	for range 20 {
		seen[lock(t).Number()] = true
	}
	if len(seen) < 19 {
		t.Errorf("%d different numbers of 20", len(seen))
	}
}

func TestFileIsTheOwners(t *testing.T) {
	l, dir := lock(t), t.TempDir()
	if _, err := Read(dir); err == nil {
		t.Error("a number without a service")
	}
	// What somebody put there before does not get the number.
	trap := filepath.Join(t.TempDir(), "trap")
	if err := os.Symlink(trap, filepath.Join(dir, FileName)); err != nil {
		t.Fatal(err)
	}
	if err := l.Show(dir); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(trap); err == nil {
		t.Error("the number was written through a link")
	}
	if s, err := os.Stat(filepath.Join(dir, FileName)); err != nil || s.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", s, err)
	}
	if got, err := Read(dir); err != nil || got != l.Number() {
		t.Errorf("%q, %v", got, err)
	}
	Hide(dir)
	if _, err := Read(dir); err == nil {
		t.Error("the number stays after the service")
	}
}
