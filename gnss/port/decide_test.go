package port

import (
	"math/rand"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"noonmark/clockcheck/timescale"
)

func TestSniffer(t *testing.T) {
	good := sentence(rmcBody)
	noise := make([]byte, 100_000)
	rand.New(rand.NewSource(1)).Read(noise)
	for _, c := range []struct {
		name, in  string
		sentences int
	}{
		{"noise", string(noise), 0},
		{"wrong checksum", strings.Replace(good, "2007", "2008", 1), 0},
		{"no checksum", "$" + rmcBody + "\r\n", 0},
		{"lower-case address", sentence("gprmc,1"), 0},
		{"cut off", good[:len(good)-3], 0},
		{"binary inside", good[:20] + "\x00" + good[20:], 0},
		{"endless", "$GPRMC," + strings.Repeat("1", 5000) + "*00\r\n", 0},
		{"empty frame", "$*00\r\n", 0},
		{"one", good, 1},
		{"after noise and half a sentence", string(noise[:999]) + good[30:] + good, 1},
		{"glued", good[:30] + good + strings.TrimSpace(good) + good, 3},
		{"encapsulated", "!" + sentence("AIVDM,1,1,,A,0,0")[1:], 1},
		// The one checksum example everyone prints (NMEA 0183 handbooks).
		{"published", "$GPGLL,5057.970,N,00146.110,E,142451,A*27\r\n$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n", 2},
	} {
		var s sniffer
		s.feed([]byte(c.in))
		if s.sentences != c.sentences {
			t.Errorf("%s: %d sentences, want %d", c.name, s.sentences, c.sentences)
		}
	}
}

// TestSnifferLaws: cutting the stream anywhere changes nothing, and no byte
// is counted twice.
func TestSnifferLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOf(rapid.OneOf(
			rapid.Just(sentence(rmcBody)), rapid.Just("$"), rapid.Just("*"), rapid.StringN(0, 20, 60))).Draw(t, "parts")
		all := []byte(strings.Join(parts, ""))
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		var one, two sniffer
		one.feed(all)
		two.feed(all[:cut])
		two.feed(all[cut:])
		if one != two {
			t.Fatalf("%+v, cut at %d %+v", one, cut, two)
		}
		if one.junk+one.n > len(all) {
			t.Fatalf("%d junk in %d bytes", one.junk+one.n, len(all))
		}
	})
}

func FuzzSniffer(f *testing.F) {
	f.Add([]byte(sentence(rmcBody)))
	f.Add([]byte("$GPGGA,*4"))
	f.Add([]byte("$$$***\x00\xff"))
	f.Fuzz(func(t *testing.T, b []byte) {
		var s sniffer
		s.feed(b)
		if s.sentences*9 > len(b) || s.junk+s.n > len(b) {
			t.Fatalf("%+v from %d bytes", s, len(b))
		}
	})
}

// TestSpeedFound feeds the seeker what a receiver at 1 Hz sends, as noise at
// every wrong speed, and checks how long it takes to find the right one.
func TestSpeedFound(t *testing.T) {
	burst := []byte(strings.Repeat(sentence(rmcBody), 5))
	rnd := rand.New(rand.NewSource(2))
	for i, right := range speeds {
		now, baud := timescale.Local(0), speeds[0]
		s := newSeeker(now, speeds)
		for !s.heard && now < timescale.Local(5*time.Minute) {
			now = now.Add(100 * time.Millisecond)
			if now.Sub(0)%time.Second == 0 {
				p := burst
				if baud != right {
					p = make([]byte, len(burst))
					rnd.Read(p)
				}
				s.feed(now, p)
			}
			if b := s.step(now); b != 0 {
				baud = b
			}
		}
		limit := time.Duration(i)*2100*time.Millisecond + 2*time.Second
		if !s.heard || baud != right || now.Sub(0) > limit {
			t.Errorf("%d baud: heard %v at %d after %v, limit %v", right, s.heard, baud, now.Sub(0), limit)
		}
	}
}

func TestSeekerHoldsStill(t *testing.T) {
	good := []byte(sentence(rmcBody) + sentence(rmcBody))
	sec := func(n int) timescale.Local { return timescale.Local(n) * timescale.Local(time.Second) }
	t.Run("no speeds to try", func(t *testing.T) {
		s := newSeeker(0, []int{9600})
		s.feed(sec(1), make([]byte, 9999))
		if b := s.step(sec(60)); b != 0 {
			t.Errorf("changed to %d", b)
		}
	})
	t.Run("a mixed binary stream", func(t *testing.T) {
		s := newSeeker(0, speeds)
		for i := 1; i < 100; i++ {
			s.feed(sec(i), append(make([]byte, 3000), good...))
			if b := s.step(sec(i)); b != 0 {
				t.Fatalf("changed to %d after %d s", b, i)
			}
		}
	})
	t.Run("silence after being heard", func(t *testing.T) {
		s := newSeeker(0, speeds)
		s.feed(sec(1), good)
		if b := s.step(sec(3600)); b != 0 {
			t.Errorf("changed to %d", b)
		}
		if !s.tell(sec(40)) || s.tell(sec(41)) {
			t.Error("the silence must be told once")
		}
		if !s.feed(sec(50), good) || s.feed(sec(51), good) {
			t.Error("the return must be told once")
		}
	})
	t.Run("another speed later", func(t *testing.T) {
		s := newSeeker(0, speeds)
		s.feed(sec(1), good)
		s.feed(sec(7), make([]byte, 600))
		if b := s.step(sec(7)); b != speeds[1] {
			t.Errorf("changed to %d, want %d", b, speeds[1])
		}
	})
}

// TestPacer plays bursts of several rhythms in virtual time and counts reads
// and starts seen.
func TestPacer(t *testing.T) {
	ms := func(n int) timescale.Local { return timescale.Local(n) * timescale.Local(time.Millisecond) }
	for _, c := range []struct {
		name            string
		every, lasts    int // ms
		baud            int
		reads           float64 // at most, a second
		starts, seconds int     // at least, in so many
	}{
		{"1 Hz, 0.5 s at 9600", 1000, 500, 9600, 8, 9, 10},
		{"1 Hz, 0.1 s", 1000, 100, 115200, 4, 9, 10},
		{"5 Hz, 0.1 s", 200, 100, 115200, 35, 45, 10},
		{"10 Hz, 30 ms", 100, 30, 115200, 80, 95, 10},
		{"1 Hz, 0.9 s at 4800", 1000, 900, 4800, 40, 8, 10},
	} {
		p := pacer{baud: c.baud}
		coming := func(at timescale.Local) bool { return int(at/ms(1))%c.every < c.lasts }
		reads, starts, last := 0, 0, ms(0)
		now := ms(c.every - 1)
		end := now.Add(time.Duration(2*c.every+c.seconds*1000) * time.Millisecond)
		from := now.Add(time.Duration(2*c.every) * time.Millisecond) // the rhythm is learnt
		count := func(n *int) {
			if now >= from {
				*n++
			}
		}
		for now < end {
			for !coming(now) {
				now += ms(1)
			}
			count(&reads)
			if now.Sub(last) >= quietFor {
				count(&starts)
				p.burst(now, now.Sub(last))
			}
			for last = now; ; last = now {
				before := now
				now = now.Add(p.rest(now))
				got := false
				for at := before + ms(1); at <= now; at += ms(1) {
					got = got || coming(at)
				}
				count(&reads)
				if !got {
					break
				}
			}
		}
		if per := float64(reads) / float64(c.seconds); per > c.reads || starts < c.starts {
			t.Errorf("%s: %.1f reads a second (at most %v), %d starts seen (at least %d)", c.name, per, c.reads, starts, c.starts)
		}
	}
	for _, b := range []int{4800, 9600, 921600, 4_000_000} {
		p := pacer{baud: b}
		p.burst(0, time.Second)
		p.burst(ms(1000), time.Second)
		if got := float64(p.rest(ms(1001))) / 1e9 * float64(b) / 10; got > 2048 {
			t.Errorf("%d baud: %v bytes gather in a rest", b, got)
		}
	}
}
