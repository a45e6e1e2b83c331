package places

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

// Law: numbers are written as the standard library writes them.
func TestThousandths(t *testing.T) {
	check := func(t interface {
		Errorf(format string, args ...any)
	}, n int64) {
		if got, want := string(appendThousandths([]byte("x"), n)), fmt.Sprintf("x%d.%03d", n/1000, n%1000); got != want {
			t.Errorf("%d: %s, want %s", n, got, want)
		}
	}
	for whole := range int64(10_000) { // every pattern of four digits, in both halves
		check(t, whole*1000+whole%1000)
		check(t, whole*10_000_000)
	}
	rapid.Check(t, func(t *rapid.T) { check(t, rapid.Int64Range(0, 1e11-1).Draw(t, "n")) })
}
