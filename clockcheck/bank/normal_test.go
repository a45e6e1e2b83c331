package bank

import (
	"math"
	"testing"
)

// The table and its series against math.Erfc, between rows too.
func TestNormal(t *testing.T) {
	for z := -9.0; z < 9; z += 0.00037 {
		want := math.Erfc(z/math.Sqrt2) / 2
		if got := beyond(z); math.Abs(got-want) > 1e-8*want+1e-15 {
			t.Fatalf("beyond %g σ: %g, want %g", z, got, want)
		}
		density := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
		if want, got := density-z*want, loss(z); math.Abs(got-want) > 1e-7*want+2e-15 {
			t.Fatalf("loss from %g σ: %g, want %g", z, got, want)
		}
	}
	if b, l := beyond(math.NaN()), loss(math.Inf(-1)); b != 1 || !math.IsInf(l, 1) {
		t.Errorf("no number: %g; all of it: %g", b, l)
	}
}
