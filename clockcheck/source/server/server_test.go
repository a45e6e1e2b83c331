package server

import (
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

func answer(name string, at timescale.Local, off time.Duration, u clockcheck.Upstream) *clockcheck.Network {
	return &clockcheck.Network{Server: name, At: at, UTC: timescale.UTC(at).Add(off), Bound: 10 * time.Millisecond, Upstream: u}
}

// Servers met over one visit are one witness until they contradict one another.
func TestVisit(t *testing.T) {
	var v Servers
	const second = timescale.Local(1e9)
	a, _ := v.Take(answer("a", second, 0, clockcheck.Upstream{}))
	b, _ := v.Take(answer("b", 2*second, 0, clockcheck.Upstream{}))
	if a.Source != b.Source {
		t.Error("two servers of one visit are two witnesses")
	}
	c, _ := v.Take(answer("c", 2*second+second*7200, 0, clockcheck.Upstream{}))
	if c.Source == a.Source {
		t.Error("a server of another visit is the same witness")
	}
	v.Take(answer("a", 7300*second, 0, clockcheck.Upstream{}))
	b, _ = v.Take(answer("b", 7301*second, time.Second, clockcheck.Upstream{}))
	a, _ = v.Take(answer("a", 7302*second, 0, clockcheck.Upstream{}))
	if a.Source == b.Source {
		t.Error("two that contradict one another are one witness")
	}
}

// Servers that follow the same third, or one another, are one witness over any visit
// (RFC 5905 section 7.3, reference id).
func TestKin(t *testing.T) {
	third := [4]byte{203, 0, 113, 1}
	for _, tt := range []struct {
		name string
		a, b clockcheck.Upstream
		kin  bool
	}{
		{"strangers", clockcheck.Upstream{ID: [4]byte{1}, Stratum: 1}, clockcheck.Upstream{ID: [4]byte{2}, Stratum: 1}, false},
		{"one machine", clockcheck.Upstream{ID: [4]byte{1}, Port: 123}, clockcheck.Upstream{ID: [4]byte{1}, Port: 123}, true},
		{"the same third", clockcheck.Upstream{ID: [4]byte{1}, Stratum: 2, Follows: third}, clockcheck.Upstream{ID: [4]byte{2}, Stratum: 2, Follows: third}, true},
		{"one the other", clockcheck.Upstream{ID: third, Port: 123, Stratum: 1}, clockcheck.Upstream{ID: [4]byte{2}, Stratum: 2, Follows: third}, true},
	} {
		var v Servers
		a, _ := v.Take(answer("a", 1e9, 0, tt.a))
		b, _ := v.Take(answer("b", 8000e9, 0, tt.b))
		if got := a.Source == b.Source; got != tt.kin {
			t.Errorf("%s: one witness %v, want %v", tt.name, got, tt.kin)
		}
	}
}
