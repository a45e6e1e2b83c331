package bank

import (
	"testing"

	"noonmark/clockcheck/timescale"
)

// A receiver whose line carries less than it sends is late by nobody knows how much, but never early. One server speaks
// besides. Is the receiver ahead of that by more than it may lead, one of the two is false, and UTC may be anywhere. An
// hour late, or ahead by the eighteen seconds and one, it speaks against nobody.
func TestLateIsNeverEarly(t *testing.T) {
	for _, c := range []struct {
		ahead float64 // s: of the server
		open  bool
	}{{150, true}, {21, true}, {18.9, false}, {0, false}, {-3600, false}} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		b.Hear(server(Server, second, 1000, 0.02))
		for k := range 60 {
			b.NotBefore(second*timescale.Local(2+k), int64((1000+c.ahead)*1e9), 0.0025)
		}
		if lo, hi := b.Guard(0); (hi-lo > anywhere) != c.open {
			t.Errorf("the receiver is %v s ahead: %+.2f to %+.2f s are open", c.ahead, lo, hi)
		}
	}
}
