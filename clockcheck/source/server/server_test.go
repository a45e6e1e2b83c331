package server

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
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

// An answer's constant error has a share of its root distance as σ; a root distance of
// nothing is taken for 0.1 ms. Source and value are those of the answer.
func TestAnswer(t *testing.T) {
	var v Servers
	r := answer("a", 5e9, time.Second, clockcheck.Upstream{})
	out, ok := v.Take(r)
	if !ok || out.Source != bank.Server || out.At != r.At || out.Z != int64(time.Second) || !out.Dated || math.Abs(out.Common-0.004) > 1e-12 {
		t.Errorf("%v, %+v", ok, out)
	}
	r.Bound = 0
	if out, _ = v.Take(r); math.Abs(out.Common-0.4e-4) > 1e-12 {
		t.Errorf("of nothing: %+v", out)
	}
	if all := v.All(); len(all) != 1 || all[0].Name != "a" || all[0].At != r.At || all[0].Bound != 0 {
		t.Errorf("%+v", all)
	}
}

// One more than there is room for is not admitted, and those that are still answer.
func TestRoom(t *testing.T) {
	var v Servers
	for i := range clockcheck.MaxServers {
		if out, ok := v.Take(answer(string(rune('a'+i)), timescale.Local(1+i*8000)*1e9, 0, clockcheck.Upstream{})); !ok || out.Source != bank.Server+bank.Source(i) {
			t.Errorf("the %dth: %v, %+v", i, ok, out)
		}
	}
	if _, ok := v.Take(answer("z", 90000e9, 0, clockcheck.Upstream{})); ok || len(v.All()) != clockcheck.MaxServers {
		t.Error("more than there is room for")
	}
	if out, ok := v.Take(answer("b", 90001e9, 0, clockcheck.Upstream{})); !ok || out.Source != bank.Server+1 {
		t.Errorf("%v, %+v", ok, out)
	}
}

// Two of one visit are told apart where they differ by more than both their bounds and
// what 50 ppm make of the time between; answers of long ago tell nothing.
func TestToldApart(t *testing.T) {
	for _, tt := range []struct {
		name  string
		after time.Duration
		off   time.Duration
		apart bool
	}{
		{"within both bounds", time.Second, 20 * time.Millisecond, false},
		{"beyond", time.Second, 21 * time.Millisecond, true},
		{"beyond, to the other side", time.Second, -21 * time.Millisecond, true},
		{"ten minutes are worth 30 ms", 10 * time.Minute, 49 * time.Millisecond, false},
		{"and no more", 10 * time.Minute, 51 * time.Millisecond, true},
		{"the first is too old", 21 * time.Minute, time.Second, false},
	} {
		var v Servers
		a, _ := v.Take(answer("a", 1e9, 0, clockcheck.Upstream{}))
		b, _ := v.Take(answer("b", timescale.Local(1e9).Add(tt.after), tt.off, clockcheck.Upstream{}))
		if got := a.Source != b.Source; got != tt.apart {
			t.Errorf("%s: told apart %v", tt.name, got)
		}
	}
}

// A contradiction within one visit tells nothing of the servers of another.
func TestOtherVisits(t *testing.T) {
	var v Servers
	a, _ := v.Take(answer("a", 1e9, 0, clockcheck.Upstream{}))
	v.Take(answer("b", 2e9, 0, clockcheck.Upstream{}))
	v.Take(answer("c", 8000e9, 0, clockcheck.Upstream{}))
	v.Take(answer("d", 8001e9, time.Second, clockcheck.Upstream{}))
	b, _ := v.Take(answer("b", 8002e9, 0, clockcheck.Upstream{}))
	if a.Source != b.Source {
		t.Error("the first visit's servers were told apart")
	}
}

// Being one witness is handed on: a follows b, and b follows c, so all three are one. A
// server of the first stratum follows nobody, whatever its reference id holds; one that
// listens elsewhere than on the time service's port is not who others follow.
func TestChain(t *testing.T) {
	ip := func(n byte) [4]byte { return [4]byte{203, 0, 113, n} }
	for _, tt := range []struct {
		name string
		up   [3]clockcheck.Upstream
		one  bool
	}{
		{"a chain", [3]clockcheck.Upstream{{ID: ip(1), Stratum: 3, Follows: ip(2), Port: 123}, {ID: ip(3), Stratum: 1, Port: 123}, {ID: ip(2), Stratum: 2, Follows: ip(3), Port: 123}}, true},
		{"the other way round", [3]clockcheck.Upstream{{ID: ip(1), Stratum: 1, Port: 123}, {ID: ip(2), Stratum: 2, Follows: ip(1), Port: 123}, {ID: ip(3), Stratum: 3, Follows: ip(2), Port: 123}}, true},
		{"its middle on another port", [3]clockcheck.Upstream{{ID: ip(1), Stratum: 3, Follows: ip(2), Port: 123}, {ID: ip(3), Stratum: 1, Port: 123}, {ID: ip(2), Stratum: 2, Follows: ip(3), Port: 4000}}, false},
		{"first stratum", [3]clockcheck.Upstream{{ID: ip(1), Stratum: 1, Follows: ip(9), Port: 123}, {ID: ip(3), Stratum: 1, Follows: ip(9), Port: 123}, {ID: ip(2), Stratum: 1, Follows: ip(9), Port: 123}}, false},
	} {
		var v Servers
		v.Take(answer("a stranger", 1, 0, clockcheck.Upstream{ID: ip(200), Stratum: 1, Port: 123}))
		var s [3]bank.Source
		for round := range 2 { // the second time each is known with whom it follows
			for i, u := range tt.up {
				out, _ := v.Take(answer(string(rune('a'+i)), timescale.Local(8000+round*30000+i*8000)*1e9, 0, u))
				s[i] = out.Source
			}
		}
		if got := s[0] == s[1] && s[1] == s[2]; got != tt.one {
			t.Errorf("%s: one witness %v, want %v (%v)", tt.name, got, tt.one, s)
		}
		if tt.one && s[0] != bank.Server+1 {
			t.Errorf("%s: they are known as %v, not by the first of them", tt.name, s[0])
		}
	}
}
