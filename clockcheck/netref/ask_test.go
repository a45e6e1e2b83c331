package netref

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"net/netip"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"

	"github.com/beevik/ntp"
)

// built is the build date of the tests: the fake servers' time less a year.
const built = timescale.UTC(int64(offset) - 365*86400*timescale.Second)

// tick returns a clock that starts at start and moves on by d at each reading,
// so that a question takes d exactly.
func tick(d time.Duration) func() timescale.Local {
	now := start - timescale.Local(d)
	return func() timescale.Local { now = now.Add(d); return now }
}

// askOnce dials the server and asks it once.
func askOnce(t testing.TB, p *Poller, server string) (Reading, error) {
	t.Helper()
	conn, err := net.Dial("udp", server)
	if err != nil {
		t.Fatal(err)
	}
	return p.ask(t.Context(), conn, server)
}

func TestAsk(t *testing.T) {
	const wait = 10 * time.Millisecond // the question takes this
	put64 := func(at int, v uint64) func([]byte) []byte {
		return func(b []byte) []byte { binary.BigEndian.PutUint64(b[at:], v); return b }
	}
	put32 := func(at int, v uint32) func([]byte) []byte {
		return func(b []byte) []byte { binary.BigEndian.PutUint32(b[at:], v); return b }
	}
	put := func(at int, v byte) func([]byte) []byte {
		return func(b []byte) []byte { b[at] = v; return b }
	}
	kiss := func(code string, then ...func([]byte) []byte) func([]byte) []byte {
		return func(b []byte) []byte {
			b[0], b[1] = 3<<6|4<<3|4, 0
			copy(b[12:], code)
			for _, f := range then {
				b = f(b)
			}
			return b
		}
	}
	stamps := func(u timescale.UTC) func([]byte) []byte {
		return func(b []byte) []byte {
			for i, d := range []time.Duration{-10 * time.Second, 0, 0} {
				binary.BigEndian.PutUint64(b[[]int{16, 32, 40}[i]:], stamp(u.Add(d)))
			}
			return b
		}
	}
	at := utcAt(start.Add(wait / 2))
	tests := []struct {
		name  string
		spoil func([]byte) []byte
		kind  Kind // "" = good
		text  string
	}{
		// The library panics on these two bytes (v1.6.0, "negative shift amount").
		{"poll 0x80", put(2, 0x80), Unfit, "malformed"},
		{"precision 0x80", put(3, 0x80), Unfit, "malformed"},
		{"precision of 2^34 s", put(3, 34), Unfit, "malformed"},
		{"precision of 8 s", put(3, 3), Unfit, "malformed"},
		{"DENY", kiss("DENY"), Stopped, "DENY"},
		{"RSTR", kiss("RSTR"), Stopped, "RSTR"},
		{"RATE", kiss("RATE"), SlowDown, "RATE"},
		{"INIT", kiss("INIT"), Unfit, "INIT"},
		{"kiss of nothing", kiss("\x00\x00\x00\x00"), Unfit, "not ready"},
		{"kiss that cannot be read", kiss("\xff\x01\x02\x03"), Unfit, "ff010203"},
		// A kiss without a transmit stamp comes from the library as another error.
		{"DENY, hidden", kiss("DENY", put64(40, 0)), Stopped, "DENY"},
		{"RATE, hidden", kiss("RATE", put64(40, 0)), SlowDown, "RATE"},
		{"RATE and the byte that crashes", kiss("RATE", put(2, 0x80)), SlowDown, "RATE"},
		{"DENY by someone who did not see the question", kiss("DENY", put64(24, 7)), NoAnswer, "no answer to this question"},
		{"answer to another question", put64(24, 7), NoAnswer, "no answer to this question"},
		{"short", func(b []byte) []byte { return b[:47] }, Unfit, "malformed"},
		{"empty", func(b []byte) []byte { return b[:0] }, Unfit, "malformed"},
		{"a question instead", put(0, 4<<3|3), Unfit, "malformed"},
		{"clock not set", put(0, 3<<6|4<<3|4), Unfit, "not set"},
		{"stratum 16", put(1, 16), Unfit, "stratum 16"},
		{"stratum 255", put(1, 255), Unfit, "stratum 255"},
		{"no transmit stamp", put64(40, 0), Unfit, "malformed"},
		{"no receive stamp", put64(32, 0), Unfit, "contradict"},
		{"sent before received", put64(40, stamp(at.Add(-time.Second))), Unfit, "malformed"},
		{"held longer than we waited", put64(40, stamp(at.Add(time.Second))), Unfit, "contradict"},
		{"a clock that nothing sets", put32(12, 0x4c4f434c), Unfit, "nothing sets its clock"}, // LOCL, RFC 4330 section 4
		{"never set", put64(16, 0), Unfit, "does not say when"},
		{"set in the future", put64(16, stamp(at.Add(time.Minute))), Unfit, "future"},
		{"set three days ago", put64(16, stamp(at.Add(-72*time.Hour))), Unfit, "36 h"},
		// 15 s pass the library's Validate.
		{"root distance 15 s", put32(8, 15<<16), Unfit, "good to 15.0 s"},
		{"root delay 2 s", put32(4, 2<<16), Unfit, "good to 1.0 s"},
		{"root delay 65535 s", put32(4, 0xffffffff), Unfit, "good to"},
		{"1999", stamps(timescale.UTC(946_000_000 * timescale.Second)), Unfit, "1999-12-24"},
		{"a day before the build", stamps(built.Add(-24 * time.Hour)), Unfit, "cannot be"},
		{"2080", stamps(timescale.UTC(3_471_292_800 * timescale.Second)), Unfit, "2080-01-01"},
		{"follows us", func(b []byte) []byte { b[1] = 2; return put32(12, 0x7f000001)(b) }, Unfit, "takes its time from this station"},

		// The library's FlagSynchronized is false for stratum 1 (v1.6.0).
		{"stratum 1", func(b []byte) []byte { return b }, "", ""},
		{"stratum 2", func(b []byte) []byte { b[1] = 2; return put32(12, 0xc0000207)(b) }, "", ""},
		{"leap second announced", put(0, 1<<6|4<<3|4), "", ""},
		{"longer packet", func(b []byte) []byte { return append(b, make([]byte, 28)...) }, "", ""},
		{"version 3", put(0, 3<<3|4), "", ""},
		{"finest precision", put(3, 0x81), "", ""},
		{"root distance 0.9 s", put32(8, 9<<16/10), "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			server := udpServer(t, func(q []byte) []byte { return tt.spoil(reply(q, at)) })
			r, err := askOnce(t, &Poller{Now: tick(wait), NotBefore: built}, server)
			if tt.kind == "" {
				if err != nil {
					t.Fatal(err)
				}
				if d := r.UTC.Sub(utcAt(r.At)); d > time.Nanosecond || d < -time.Nanosecond || r.Delay != wait {
					t.Errorf("off by %v, delay %v: %+v", d, r.Delay, r)
				}
				return
			}
			var f *failure
			if !errors.As(err, &f) {
				t.Fatalf("accepted: %+v, %v", r, err)
			}
			if f.kind != tt.kind || !strings.Contains(f.reason, tt.text) {
				t.Errorf("%s: %q, want %s: …%s…", f.kind, f.reason, tt.kind, tt.text)
			}
		})
	}
}

func TestReadingInFull(t *testing.T) {
	server := udpServer(t, func(q []byte) []byte {
		b := reply(q, utcAt(start.Add(20*time.Millisecond)))
		b[0], b[1] = 1<<6|4<<3|4, 2
		copy(b[12:], []byte{192, 0, 2, 7})
		return b
	})
	got, err := askOnce(t, &Poller{Now: tick(40 * time.Millisecond)}, server)
	if err != nil {
		t.Fatal(err)
	}
	want := Reading{
		Server: server, At: start.Add(20 * time.Millisecond), UTC: utcAt(start.Add(20 * time.Millisecond)),
		// By hand: half of 40 ms, half of 65/65536 s, 131/65536 s, 2^-20 s,
		// 50 ppm of 40 ms, 16 µs of rounding.
		Bound: 20*time.Millisecond + 495911 + 1998901 + 953 + 2000 + 16000, Delay: 40 * time.Millisecond,
		Stratum: 2, RefID: "192.0.2.7", Leap: 1, ID: [4]byte{127, 0, 0, 1}, Follows: [4]byte{192, 0, 2, 7},
		Port: netip.MustParseAddrPort(server).Port(),
	}
	got.Bound = got.Bound.Round(time.Microsecond)
	want.Bound = want.Bound.Round(time.Microsecond)
	if got != want {
		t.Errorf("\n got %+v\nwant %+v", got, want)
	}
}

// The law of RFC 5905: however the delay is shared out between the two ways,
// the truth is within Bound.
func TestBoundHoldsTheTruth(t *testing.T) {
	for _, there := range []time.Duration{0, 5 * time.Millisecond, 60 * time.Millisecond} {
		t0 := time.Now()
		now := func() timescale.Local { return start.Add(time.Since(t0)) }
		server := udpServer(t, func(q []byte) []byte {
			time.Sleep(there)
			b := reply(q, utcAt(now()))
			time.Sleep((60*time.Millisecond - there) / 2)
			return b
		})
		r, err := askOnce(t, &Poller{Now: now}, server)
		if err != nil {
			t.Fatal(err)
		}
		if e := r.UTC.Sub(utcAt(r.At)); e > r.Bound || e < -r.Bound || r.Delay < there {
			t.Errorf("error %v, bound %v, delay %v", e, r.Bound, r.Delay)
		}
	}
}

func TestNobodyThere(t *testing.T) {
	c, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	server := c.LocalAddr().String()
	c.Close()
	_, err = askOnce(t, &Poller{Now: tick(time.Millisecond)}, server)
	var f *failure
	if !errors.As(err, &f) || f.kind != NoAnswer || !strings.Contains(f.reason, "no time server") {
		t.Errorf("%v", err)
	}
}

func TestSuspendSpoilsAnAnswer(t *testing.T) {
	server := udpServer(t, func(q []byte) []byte { return reply(q, utcAt(start)) })
	var slept time.Duration
	p := &Poller{Now: tick(time.Millisecond), Suspended: func() time.Duration { slept += time.Minute; return slept }}
	_, err := askOnce(t, p, server)
	var f *failure
	if !errors.As(err, &f) || f.kind != NoAnswer || !strings.Contains(f.reason, "slept") {
		t.Errorf("%v", err)
	}
}

func TestEndOfContextEndsTheWait(t *testing.T) {
	server := udpServer(t, func([]byte) []byte { return nil })
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(20*time.Millisecond, cancel)
	conn, err := net.Dial("udp", server)
	if err != nil {
		t.Fatal(err)
	}
	t0 := time.Now()
	if _, err := (&Poller{Now: tick(1)}).ask(ctx, conn, server); err == nil || time.Since(t0) > timeout/2 {
		t.Errorf("%v after %v", err, time.Since(t0))
	}
}

// Stamps of RFC 5905 figure 4 and others computed from the epoch 1900 by hand.
func TestStampVectors(t *testing.T) {
	tests := []struct {
		raw  uint64
		want string
	}{
		{0x83aa7e80_00000000, "1970-01-01T00:00:00Z"}, // 2 208 988 800
		{2_272_060_800 << 32, "1972-01-01T00:00:00Z"},
		{3_155_587_200 << 32, "1999-12-31T00:00:00Z"},
		{0xbc17c200_00000000, "2000-01-01T00:00:00Z"},
		{0xdc12c500_00000000, "2017-01-01T00:00:00Z"},
		{0xe98af040_1f9add37, "2024-02-29T12:00:00.123456789Z"},
		{0xeb1f0400_80000000, "2025-01-01T00:00:00.5Z"},
		{0xffffffff_00000000, "2036-02-07T06:28:15Z"},
		{0x00000000_40000000, "2036-02-07T06:28:16.25Z"}, // era 1
		{63_104 << 32, "2036-02-08T00:00:00Z"},
		{0x03aa7e80_00000000, "2038-01-19T03:14:08Z"},
		{0x7830d580_00000000, "2100-01-01T00:00:00Z"},
	}
	for _, tt := range tests {
		server := udpServer(t, func(q []byte) []byte {
			b := reply(q, 0)
			binary.BigEndian.PutUint64(b[16:], tt.raw-1)
			binary.BigEndian.PutUint64(b[32:], tt.raw)
			binary.BigEndian.PutUint64(b[40:], tt.raw)
			return b
		})
		r, err := askOnce(t, &Poller{Now: tick(time.Millisecond)}, server)
		if err != nil {
			// At the very start of 1970 the reference stamp before it is read as 2106.
			if tt.want != "1970-01-01T00:00:00Z" {
				t.Errorf("%s: %v", tt.want, err)
			}
			continue
		}
		if got := r.UTC.Time().Format(time.RFC3339Nano); got != tt.want {
			t.Errorf("%016x: got %s, want %s", tt.raw, got, tt.want)
		}
	}
}

// RFC 5905 section 8, worked by hand.
func TestMidpoint(t *testing.T) {
	ms := func(v int64) int64 { return v * int64(time.Millisecond) }
	at, utc, delay, err := midpoint(timescale.Local(ms(100_000)), timescale.UTC(ms(100_520)),
		timescale.UTC(ms(100_530)), timescale.Local(ms(100_050)), 0)
	if err != nil || delay != 40*time.Millisecond || int64(utc)-int64(at) != ms(500) {
		t.Errorf("offset %d, delay %v, %v", int64(utc)-int64(at), delay, err)
	}
	// A server whose stamps have a grain of 2^-6 s may seem to hold the
	// question longer than it took.
	if _, _, delay, err = midpoint(0, 0, timescale.UTC(ms(15)), timescale.Local(ms(1)), 15625*time.Microsecond); err != nil || delay != 0 {
		t.Errorf("delay %v, %v", delay, err)
	}
}

// RFC 5905 section 7.3; the hash of the 16 bytes of ::1 is md5sum's.
func TestReferenceIDs(t *testing.T) {
	for _, tt := range []struct {
		stratum uint8
		id      uint32
		want    string
	}{
		{1, 0x47505300, "GPS"}, {1, 0x4c4f4343, "LOCC"}, {1, 0, "none"}, {1, 0x00475053, "00475053"},
		{1, 0x1b5b324a, "1b5b324a"}, {2, 0xc0000207, "192.0.2.7"},
	} {
		if got := refID(tt.stratum, tt.id); got != tt.want {
			t.Errorf("refID(%d, %08x) = %q, want %q", tt.stratum, tt.id, got, tt.want)
		}
	}
	for addr, want := range map[string]uint32{"192.0.2.7": 0xc0000207, "::1": 0xcf404dc8} {
		if got := idOf(netip.MustParseAddr(addr)); got != want {
			t.Errorf("idOf(%s) = %08x, want %08x", addr, got, want)
		}
	}
}

func FuzzReply(f *testing.F) {
	f.Add(reply(make([]byte, packet), utcAt(start))[:24], stamp(utcAt(start)), stamp(utcAt(start)))
	f.Add([]byte{4<<3 | 4, 1, 0x80, 0x80}, uint64(0), uint64(1))
	f.Add([]byte{3<<6 | 4<<3 | 4, 0, 6, 6, 0, 0, 0, 0, 0, 0, 0, 0, 'R', 'A', 'T', 'E'}, uint64(0), uint64(0))
	f.Fuzz(func(t *testing.T, head []byte, received, sent uint64) {
		here, there := net.Pipe()
		go func() {
			defer there.Close()
			q := make([]byte, packet)
			if _, err := io.ReadFull(there, q); err != nil {
				return
			}
			b := make([]byte, packet)
			copy(b[:24], head)
			copy(b[24:], q[40:48])
			binary.BigEndian.PutUint64(b[32:], received)
			binary.BigEndian.PutUint64(b[40:], sent)
			there.Write(b)
		}()
		r, err := (&Poller{Now: tick(time.Millisecond), NotBefore: built}).ask(t.Context(), here, "x")
		var failed *failure
		switch {
		case err == nil:
			if r.Bound <= 0 || r.Bound >= time.Second || r.Stratum < 1 || r.Stratum > 15 || r.Leap > 2 || r.UTC < built || r.RefID == "" {
				t.Errorf("accepted %+v", r)
			}
		case !errors.As(err, &failed) || failed.reason == "":
			t.Errorf("error without a reason: %v", err)
		}
	})
}

// The library must see the extension both ways, or kisses stay hidden.
var _ ntp.Extension = (*exchange)(nil)

func TestKissNeedsARoundTrip(t *testing.T) {
	var x exchange
	if k := x.kiss(); k != "" {
		t.Errorf("no reply, yet kiss %q", k)
	}
	x.ProcessQuery(bytes.NewBuffer(make([]byte, packet)))
	x.ProcessResponse(make([]byte, 3))
	if k := x.kiss(); k != "" {
		t.Errorf("three bytes, yet kiss %q", k)
	}
}
