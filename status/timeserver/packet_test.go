package timeserver

import (
	"bytes"
	"encoding/binary"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// at is the present of these tests, and utc what is true then.
const (
	at  = timescale.Local(812 * timescale.Second)
	utc = timescale.UTC(1_927_944_000 * timescale.Second) // 2031-02-04
)

// good is a state that may be served.
func good() *State {
	return &State{Trusted: true, At: at, UTC: utc, Guard: 50 * time.Millisecond, Stratum: 1, RefID: [4]byte{'G', 'P', 'S'},
		Reference: utc.Add(-time.Second)}
}

// ask is a client's question as RFC 5905 has it: version 4, mode 3, its own time.
func ask() []byte {
	q := make([]byte, size)
	q[0], q[2] = 4<<3|3, 6
	binary.BigEndian.PutUint64(q[40:], 0xe98af040_1f9add37)
	return q
}

// Dates of RFC 5905 figure 4 (era and offset); era 1 begins 2036-02-07 06:28:16, which
// the figure's row of 8 February (63 104) fits. The others are counted from 1900 by
// hand or with a second program; fractions are 2^32ths, cut off.
func TestStamp(t *testing.T) {
	for _, tt := range []struct {
		utc  string
		want uint64
	}{
		{"1899-12-31T00:00:00Z", 4_294_880_896 << 32}, // era -1
		{"1900-01-01T00:00:00Z", 1},                   // zero would mean "unknown"
		{"1970-01-01T00:00:00Z", 2_208_988_800 << 32},
		{"1972-01-01T00:00:00Z", 2_272_060_800 << 32},
		{"1999-12-31T00:00:00Z", 3_155_587_200 << 32},
		{"2000-01-01T00:00:00Z", 0xbc17c200_00000000},
		{"2017-01-01T00:00:00Z", 0xdc12c500_00000000},
		{"2024-02-29T12:00:00.123456789Z", 0xe98af040_1f9add37},
		{"2025-01-01T00:00:00Z", 0xeb1f0400_00000000},
		{"2025-01-01T00:00:00.5Z", 0xeb1f0400_80000000},
		{"2025-01-01T00:00:00.25Z", 0xeb1f0400_40000000},
		{"2025-01-01T00:00:00.1Z", 0xeb1f0400_19999999},
		{"2025-01-01T00:00:00.000001Z", 0xeb1f0400_000010c6},
		{"2025-01-01T00:00:00.000000001Z", 0xeb1f0400_00000004},
		{"2036-02-07T06:28:15Z", 0xffffffff_00000000},
		{"2036-02-07T06:28:16Z", 1},                   // era 1; zero would mean "unknown"
		{"2036-02-07T06:28:16.25Z", 0x40000000},       // era 1
		{"2036-02-08T00:00:00Z", 63_104 << 32},        // era 1
		{"2038-01-19T03:14:08Z", 0x03aa7e80_00000000}, // era 1
		{"2100-01-01T00:00:00Z", 0x7830d580_00000000}, // era 1
	} {
		u, err := time.Parse(time.RFC3339Nano, tt.utc)
		if err != nil {
			t.Fatal(err)
		}
		if got := stamp(timescale.UTCOf(u)); got != tt.want {
			t.Errorf("%s: got %016x, want %016x", tt.utc, got, tt.want)
		}
	}
}

// RFC 5905 section 6: 16 bits of seconds and 16 of fraction. A bound is rounded up.
func TestShort(t *testing.T) {
	for d, want := range map[time.Duration]uint32{
		0: 0, 1: 1, time.Millisecond: 0x42, 100 * time.Millisecond: 0x199a, 500 * time.Millisecond: 0x8000,
		1500 * time.Millisecond: 0x18000, 16 * time.Second: 0x100000,
	} {
		if got := short(d); got != want {
			t.Errorf("%v: got %08x, want %08x", d, got, want)
		}
	}
}

// The octets of an answer, laid out by hand after RFC 5905 figure 8.
func TestAnswerInFull(t *testing.T) {
	s := good()
	s.Leap, s.RatePPM, s.GuardPPM = 1, 100, 1000
	q := ask()
	q[0], q[2] = 3<<3|3, 10
	var a [size]byte
	// 1 s before and 1 s after the state: 100 ppm are 100 µs, 1000 ppm 1 ms of guard.
	s.answer(&a, q, at-timescale.Local(timescale.Second), at+timescale.Local(timescale.Second), 0xffffffff)
	want := []byte{
		1<<6 | 3<<3 | 4, 1, 10, 0xec, // leap, version, mode; stratum; poll as asked; 2^-20 s
		0, 0, 0, 0, // root delay
		0, 0, 0x0d, 0x0f, // root dispersion: 51 ms = 3342.3 / 65536 s
		'G', 'P', 'S', 0,
	}
	want = binary.BigEndian.AppendUint64(want, uint64(1_927_944_000-1+2_208_988_800)<<32)
	want = append(want, q[40:48]...)
	want = binary.BigEndian.AppendUint64(want, uint64(1_927_944_000-2+2_208_988_800)<<32|0xfff97247) // −1.0001 s
	want = binary.BigEndian.AppendUint64(want, uint64(1_927_944_000+1+2_208_988_800)<<32|0x00068fff) // +1.0001 s, low 10 bits random
	if !bytes.Equal(a[:], want) {
		t.Errorf("\n got %x\nwant %x", a, want)
	}
}

// RFC 5905 figure 9 in the two highest bits of the first octet (figure 8), before
// version 4 and mode 4: 0 no warning, 1 a last minute of 61 s, 2 one of 59 s.
func TestLeapIndicator(t *testing.T) {
	for leap, want := range []byte{0b00_100_100, 0b01_100_100, 0b10_100_100} {
		s := good()
		s.Leap = uint8(leap)
		var a [size]byte
		if s.answer(&a, ask(), at, at, 1); a[0] != want {
			t.Errorf("leap %d: %08b, want %08b", leap, a[0], want)
		}
	}
}

func TestNobodyFollowsAGuess(t *testing.T) {
	spoil := func(f func(*State)) *State { s := good(); f(s); return s }
	for name, s := range map[string]*State{
		"no state":            nil,
		"not trusted":         spoil(func(s *State) { s.Trusted = false }),
		"guard over 1 s":      spoil(func(s *State) { s.Guard = MaxGuard + 1 }),
		"guard grown to 1 s":  spoil(func(s *State) { s.Guard, s.GuardPPM, s.At = MaxGuard-time.Millisecond, 2000, at-1e9 }),
		"negative guard":      spoil(func(s *State) { s.Guard = -1 }),
		"owner hangs":         spoil(func(s *State) { s.At -= timescale.Local(staleAfter) }),
		"state of the future": spoil(func(s *State) { s.At += timescale.Local(staleAfter) }),
		"no stratum":          spoil(func(s *State) { s.Stratum = 0 }),
		"stratum 16":          spoil(func(s *State) { s.Stratum = 16 }),
		"leap indicator 3":    spoil(func(s *State) { s.Leap = 3 }),
		"zero":                {},
	} {
		q := ask()
		var a [size]byte
		s.answer(&a, q, at, at, 1)
		// RFC 5905 figures 9 and 11: leap indicator 3, stratum 16. The stamps are the
		// client's own, so that it reckons an offset of half the round trip.
		if a[0] != 3<<6|4<<3|4 || a[1] != 16 {
			t.Errorf("%s: leap %d, stratum %d", name, a[0]>>6, a[1])
		}
		for _, i := range []int{24, 32, 40} {
			if !bytes.Equal(a[i:i+8], q[40:48]) {
				t.Errorf("%s: stamp at %d is not the client's", name, i)
			}
		}
		if !bytes.Equal(a[16:24], make([]byte, 8)) {
			t.Errorf("%s: it says when it was set", name)
		}
	}
}

func TestQuestion(t *testing.T) {
	for _, tt := range []struct {
		name string
		head byte
		size int
		want bool
	}{
		{"empty", 4<<3 | 3, 0, false},
		{"one octet", 4<<3 | 3, 1, false},
		{"an octet too short", 4<<3 | 3, 47, false},
		{"version 0", 0<<3 | 3, 48, false},
		{"version 5", 5<<3 | 3, 48, false},
		{"version 7", 7<<3 | 3, 48, false},
		{"mode 0", 4 << 3, 48, false},
		{"symmetric active", 4<<3 | 1, 48, false},
		{"symmetric passive", 4<<3 | 2, 48, false},
		{"a server's answer", 4<<3 | 4, 48, false},
		{"broadcast", 4<<3 | 5, 48, false},
		{"control", 4<<3 | 6, 48, false},
		{"private", 4<<3 | 7, 48, false},
		{"private, long", 2<<3 | 7, 400, false},
		{"version 1", 1<<3 | 3, 48, true},
		{"version 2", 2<<3 | 3, 48, true},
		{"version 3", 3<<3 | 3, 48, true},
		{"version 4", 4<<3 | 3, 48, true},
		{"leap indicator unknown", 3<<6 | 4<<3 | 3, 48, true},
		{"with authentication", 4<<3 | 3, 68, true},
	} {
		p := make([]byte, tt.size)
		if tt.size > 0 {
			p[0] = tt.head
		}
		if got := question(p); got != tt.want {
			t.Errorf("%s: %v", tt.name, got)
		}
	}
}

// RFC 5905 section 7.4: stratum 0 and the code in the reference id. A client takes it
// only with its own origin stamp (RFC 8633 section 5.4).
func TestKiss(t *testing.T) {
	for _, tt := range []struct{ poll, want byte }{{6, 6}, {3, 6}, {0x80, 6}, {10, 10}} {
		q := ask()
		q[2] = tt.poll
		var a [size]byte
		rate(&a, q)
		if a[0] != 3<<6|4<<3|4 || a[1] != 0 || a[2] != tt.want || string(a[12:16]) != "RATE" || !bytes.Equal(a[24:32], q[40:48]) {
			t.Errorf("poll %d: %x", tt.poll, a)
		}
	}
}
