package broker

import (
	"bytes"
	"io"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestHostileLengths: five bytes of a broker name a packet of 256 MB; it gets no memory
// for it, and the reason is said.
func TestHostileLengths(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				c.Read(make([]byte, 4096)) // CONNECT
				c.Write([]byte{0x30, 0xff, 0xff, 0xff, 0x7f})
				io.Copy(io.Discard, c)
			}()
		}
	}()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, why, stop := run(t, Config{Broker: "mqtt://" + l.Addr().String()})
	until(t, "the reason", func() bool { return why.have("mqtt.broker") })
	stop()
	runtime.ReadMemStats(&after)
	if took := after.TotalAlloc - before.TotalAlloc; took > 20<<20 {
		t.Errorf("five bytes took %d MB", took>>20)
	}
}

// TestFrames: whatever pieces a stream comes in, it is let through whole as long as each
// packet is small enough, and not beyond the first that is not.
func TestFrames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var stream []byte
		sizes := rapid.SliceOfN(rapid.SampledFrom([]int{0, 1, 127, 128, 300, maxPacket, maxPacket + 1, 1 << 21, 1<<28 - 1}), 1, 6).Draw(t, "sizes")
		good := 0 // bytes that must come through
		bad := false
		for _, n := range sizes {
			stream = append(stream, 0x40)
			for v := n; ; v >>= 7 {
				if v < 128 {
					stream = append(stream, byte(v))
					break
				}
				stream = append(stream, byte(v)|0x80)
			}
			if n > maxPacket {
				bad = true
				break
			}
			stream = append(stream, make([]byte, n)...)
			good = len(stream)
		}
		var f frame
		through := 0
		var err error
		for rest := stream; len(rest) > 0 && err == nil; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "piece")
			if err = f.follow(rest[:n]); err == nil {
				through += n
			}
			rest = rest[n:]
		}
		if bad != (err != nil) || !bad && through != good {
			t.Fatalf("sizes %v: %v after %d of %d", sizes, err, through, len(stream))
		}
	})
}

// TestCredential: the password comes by the service manager's hand where no file is
// named; an empty or missing one is none; a pipe or a huge file holds nobody up.
func TestCredential(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct{ text, want string }{{"", ""}, {"\n", ""}, {"secret\n", "secret"}} {
		file(t, dir, Credential, c.text)
		if got, err := password(Config{Credentials: dir}); string(got) != c.want || err != nil {
			t.Errorf("%q: %q, %v", c.text, got, err)
		}
	}
	if got, err := password(Config{Credentials: t.TempDir()}); got != nil || err != nil {
		t.Errorf("none: %q, %v", got, err)
	}
	if got, err := password(Config{Credentials: dir, PasswordFile: file(t, dir, "named", "other")}); string(got) != "other" || err != nil {
		t.Errorf("a file that was named: %q, %v", got, err)
	}
	if err := os.WriteFile(filepath.Join(dir, "huge"), bytes.Repeat([]byte("x"), maxPassword+1), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := password(Config{PasswordFile: filepath.Join(dir, "huge")}); err == nil {
		t.Error("a huge password was taken")
	}
}

// TestPasswordInClear is warned of; not where it is encrypted or leaves no wire.
func TestPasswordInClear(t *testing.T) {
	path := file(t, t.TempDir(), "password", "secret")
	for at, warned := range map[string]bool{"mqtt://192.0.2.1:1883": true, "mqtts://192.0.2.1:8883": false, "mqtt://127.0.0.1:1883": false} {
		var mu sync.Mutex
		said := ""
		_, err := New(Config{Broker: at, Station: "x", Every: time.Second, PasswordFile: path}).client(func(why string) { mu.Lock(); said += why; mu.Unlock() })
		if err != nil || strings.Contains(said, "in clear") != warned {
			t.Errorf("%s: %q, %v", at, said, err)
		}
	}
}
