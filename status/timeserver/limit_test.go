package timeserver

import (
	"fmt"
	"net/netip"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"

	"pgregory.net/rapid"
)

var someone = netip.MustParseAddr("192.0.2.7")

func TestLimit(t *testing.T) {
	l := newLimiter(Limit{})
	now := at
	count := func(n int, pause time.Duration) (served, kissed int) {
		for range n {
			switch l.ask(someone, now) {
			case serve:
				served++
			case kiss:
				kissed++
			}
			now = now.Add(pause)
		}
		return
	}
	if s, k := count(16, 0); s != 16 || k != 0 {
		t.Errorf("a burst: %d served, %d kissed", s, k)
	}
	if s, k := count(1000, time.Millisecond); s != 0 || k != 1 {
		t.Errorf("a flood: %d served, %d kissed", s, k)
	}
	// An hour at twice the rate: half is served, and kisses come every 8 s.
	if s, k := count(3600, time.Second); s < 1790 || s > 1810 || k < 440 || k > 460 {
		t.Errorf("an hour: %d served, %d kissed", s, k)
	}
	now = now.Add(time.Minute)
	if s, k := count(100, 3*time.Second); s != 100 || k != 0 {
		t.Errorf("a patient client: %d served, %d kissed", s, k)
	}
	if v := l.ask(netip.MustParseAddr("192.0.2.8"), now); v != serve {
		t.Error("another client pays for it")
	}
}

func TestHousehold(t *testing.T) {
	for in, want := range map[string]string{
		"192.0.2.7": "192.0.2.7", "::ffff:192.0.2.7": "192.0.2.7", "2001:db8:1:2:3:4:5:6": "2001:db8:1:2::",
		"fe80::1:2%eth0": "fe80::1:2", "::1": "::1", "fd00::5": "fd00::",
	} {
		if got := household(netip.MustParseAddr(in)); got.String() != want {
			t.Errorf("%s: got %s, want %s", in, got, want)
		}
	}
}

// Whoever asks, what is remembered stays bounded, and one who asks all the time is
// not forgotten for the many who ask once.
func TestLimiterIsBounded(t *testing.T) {
	l := newLimiter(Limit{})
	served := 0
	for i := range 20 * remembered {
		l.ask(netip.AddrFrom4([4]byte{10, byte(i >> 16), byte(i >> 8), byte(i)}), at)
		if i%1000 == 0 && l.ask(someone, at) == serve {
			served++
		}
		if n := len(l.addresses.young) + len(l.addresses.old); n > 2*remembered {
			t.Fatalf("%d clients remembered", n)
		}
	}
	if served != 16 {
		t.Errorf("%d served to one client in a crowd", served)
	}
}

// The law: however the questions are spaced, no client is served more than its burst
// and one for each interval, and no more than one kiss for each of theirs.
func TestLimiterHoldsItsRate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := newLimiter(Limit{})
		now, served, kissed := at, 0, 0
		for _, ms := range rapid.SliceOfN(rapid.IntRange(0, 3000), 1, 300).Draw(t, "pauses") {
			now = now.Add(time.Duration(ms) * time.Millisecond)
			switch l.ask(someone, now) {
			case serve:
				served++
			case kiss:
				kissed++
			}
		}
		span := now.Sub(at)
		if most := burst + int(span/every); served > most || kissed > 1+int(span/kissEvery) {
			t.Fatal(fmt.Sprintf("%d served of %d, %d kissed in %v", served, most, kissed, span))
		}
	})
}

func BenchmarkLimiter(b *testing.B) {
	l := newLimiter(Limit{})
	for i := 0; b.Loop(); i++ {
		l.ask(netip.AddrFrom4([4]byte{10, byte(i >> 16), byte(i >> 8), byte(i)}), at+timescale.Local(i))
	}
}

// TestOneNetworkOfDevices: in one IPv6 network an eager device loses only its own
// questions, 30 devices that ask as often as they may are all served, and a device that
// takes a new address for each question gets no more than the network's rate.
func TestOneNetworkOfDevices(t *testing.T) {
	device := func(n int) netip.Addr {
		return netip.AddrFrom16([16]byte{0x20, 1, 0xd, 0xb8, 0, 1, 0, 2, 0, 0, 0, 0, 0, byte(n >> 16), byte(n >> 8), byte(n)})
	}
	l := newLimiter(Limit{})
	good, served := 0, 0
	for ms := range 120_000 {
		now := at.Add(time.Duration(ms) * time.Millisecond)
		l.ask(device(1), now) // 1,000 a second
		if ms%2000 < 30 {
			good++
			if l.ask(device(2+ms%2000), now) == serve {
				served++
			}
		}
	}
	if served != good {
		t.Errorf("%d of %d good questions served beside one eager device", served, good)
	}
	l, served = newLimiter(Limit{}), 0
	const seconds = 600
	for n := range seconds * 1000 {
		if l.ask(device(n), at.Add(time.Duration(n)*time.Millisecond)) == serve {
			served++
		}
	}
	if most := networkShare*seconds/2 + networkShare*burst; served > most {
		t.Errorf("%d served to one device of many addresses, want at most %d", served, most)
	}
}
