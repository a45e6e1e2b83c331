package keep

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/port"
	"noonmark/status"
)

func sample(rate float64) State {
	return State{
		Learned: clockcheck.Learned{RatePPM: rate, RateSigmaPPM: 0.2,
			Latencies: []clockcheck.LearnedLatency{{Key: "r", LatencyS: 0.1, SigmaS: 0.02}},
			RTC:       &clockcheck.LearnedRTC{At: 5, OffsetS: 0.25, Ancestry: []string{"server"}}},
		Receiver: port.Identity{Name: "/dev/x"},
		Place:    &station.LastPlace{LatDeg: -20.13, LonDeg: -67.49, AltM: status.Known(3656), BoundM: 9, Locator: "FG69gu18et", UTC: 1928369106e9},
		Steering: steer.Learned{Chips: []steer.Chip{{Name: "rtc-x", FirstTickS: 0.5, Measured: 2}}},
	}
}

// A file of a version that did not steer yet is read; what it does not say is not known.
func TestOldFile(t *testing.T) {
	dir := t.TempDir()
	old := "noonmark/learned/v1 01940949\n" + `{"learned":{"rate_ppm":3,"rate_sigma_ppm":0.2,"latencies":null,"rtc":{"at_utc_ns":5,"offset_s":0.25,"sigma_s":0.01,"rate_ppm":1,"rate_sigma_ppm":0.5,"date_proved":true,"second_lo":0,"second_hi":0,"written_by_others":true,"ancestry":["server"]}},"receiver":{}}` + "\n"
	if err := os.WriteFile(filepath.Join(dir, name), []byte(old), 0o644); err != nil {
		t.Fatal(err)
	}
	s, err := Load(dir)
	if err != nil || s.Learned.RatePPM != 3 || s.Learned.RTC == nil || s.Learned.RTC.KernelReads != 0 || len(s.Steering.Chips) != 0 {
		t.Errorf("%+v, %v", s, err)
	}
}

func TestRoundTripAndGenerations(t *testing.T) {
	dir := t.TempDir()
	if s, err := Load(dir); err != nil || !reflect.DeepEqual(s, State{}) {
		t.Fatalf("an empty directory gives %+v, %v", s, err)
	}
	for _, rate := range []float64{1, 2, 3} {
		if err := Save(dir, sample(rate)); err != nil {
			t.Fatal(err)
		}
	}
	s, err := Load(dir)
	if err != nil || !reflect.DeepEqual(s, sample(3)) {
		t.Fatalf("got %+v, %v", s, err)
	}
	// Torn at any length: the generation before must come, with a word about it.
	path := filepath.Join(dir, name)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for n := range len(whole) - 1 {
		if err := os.WriteFile(path, whole[:n], 0o644); err != nil {
			t.Fatal(err)
		}
		s, err := Load(dir)
		if err == nil || s.Learned.RatePPM != 2 {
			t.Fatalf("torn at %d: rate %v, error %v", n, s.Learned.RatePPM, err)
		}
	}
	// A damaged newest file must not replace the good former one.
	if err := Save(dir, sample(4)); err != nil {
		t.Fatal(err)
	}
	if s, err := read(osDisk{}, filepath.Join(dir, former)); err != nil || s.Learned.RatePPM != 2 {
		t.Fatalf("former generation: %+v, %v", s, err)
	}
}

func TestForeignFile(t *testing.T) {
	dir := t.TempDir()
	for _, text := range []string{"", "{}", "noonmark/learned/v9 00000000\n{}\n", "noonmark/learned/v1 00000000\n{}\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if s, err := Load(dir); err == nil || !reflect.DeepEqual(s, State{}) {
			t.Errorf("%q was taken for learned state: %+v", text, s)
		}
	}
}

// What a power cut can leave behind at any point of Save, and what it costs: never
// more than the newest generation.
func TestPowerCut(t *testing.T) {
	write := func(t *testing.T, dir, file string, b []byte) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, file), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, tc := range []struct {
		name    string
		leave   func(t *testing.T, dir string, newest, before []byte)
		want    float64
		silence bool
	}{
		{"both torn", func(t *testing.T, dir string, newest, before []byte) {
			write(t, dir, name, newest[:len(newest)/2])
			write(t, dir, former, before[:9])
		}, 0, false},
		{"newest torn", func(t *testing.T, dir string, newest, _ []byte) { write(t, dir, name, newest[:len(newest)-9]) }, 1, false},
		{"newest full of zeros", func(t *testing.T, dir string, newest, _ []byte) { write(t, dir, name, make([]byte, len(newest))) }, 1, false},
		{"newest gone", func(t *testing.T, dir string, _, _ []byte) { os.Remove(filepath.Join(dir, name)) }, 1, true},
		{"former torn", func(t *testing.T, dir string, _, before []byte) { write(t, dir, former, before[:20]) }, 2, true},
		{"after the link", func(t *testing.T, dir string, newest, _ []byte) { write(t, dir, former+".new", newest) }, 2, true},
		{"no link to be had", func(t *testing.T, dir string, _, _ []byte) {
			if err := os.MkdirAll(filepath.Join(dir, former+".new", "in the way"), 0o755); err != nil {
				t.Fatal(err)
			}
		}, 2, true},
		{"after the rename", func(t *testing.T, dir string, newest, _ []byte) { write(t, dir, former, newest) }, 2, true},
		{"within the write", func(t *testing.T, dir string, newest, _ []byte) {
			write(t, dir, former, newest)
			write(t, dir, "."+name+"123456", newest[:10])
		}, 2, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			dir := t.TempDir()
			var text [2][]byte
			for i := range text {
				if err := Save(dir, sample(float64(i+1))); err != nil {
					t.Fatal(err)
				}
				var err error
				if text[i], err = os.ReadFile(filepath.Join(dir, name)); err != nil {
					t.Fatal(err)
				}
			}
			tc.leave(t, dir, text[1], text[0])
			s, err := Load(dir)
			if s.Learned.RatePPM != tc.want || (err == nil) != tc.silence {
				t.Fatalf("rate %v, want %v; error %v", s.Learned.RatePPM, tc.want, err)
			}
			if err != nil && !strings.Contains(err.Error(), filepath.Join(dir, name)) {
				t.Errorf("does not name the file: %v", err)
			}
			// The next two generations are whole again, whatever lay about.
			for _, rate := range []float64{3, 4} {
				if err := Save(dir, sample(rate)); err != nil {
					t.Fatal(err)
				}
			}
			if s, err := Load(dir); err != nil || s.Learned.RatePPM != 4 {
				t.Errorf("after two saves: %v, %v", s.Learned.RatePPM, err)
			}
			if s, err := read(osDisk{}, filepath.Join(dir, former)); err != nil || s.Learned.RatePPM != 3 {
				t.Errorf("generation before: %v, %v", s.Learned.RatePPM, err)
			}
		})
	}
}

// Files that cut-off saves left behind do not gather.
func TestNothingGathers(t *testing.T) {
	dir := t.TempDir()
	for _, left := range []string{".learned.json123", ".learned.previous.json4567"} {
		if err := os.WriteFile(filepath.Join(dir, left), []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		if err := Save(dir, sample(1)); err != nil {
			t.Fatal(err)
		}
	}
	found, err := filepath.Glob(filepath.Join(dir, "*"))
	if want := []string{filepath.Join(dir, name), filepath.Join(dir, former)}; err != nil || !reflect.DeepEqual(found, want) {
		t.Errorf("found %q, want %q, error %v", found, want, err)
	}
}

// A single flipped bit anywhere is seen. A CRC of 32 bits finds every error within
// 32 bits (ISO 3309); the head is compared whole, and hexadecimals know two cases.
func TestFlippedBitIsSeen(t *testing.T) {
	dir := t.TempDir()
	if err := Save(dir, sample(1)); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	for i := range 8 * len(text) {
		b := bytes.Clone(text)
		b[i/8] ^= 1 << (i % 8)
		if s, err := parse(b); err == nil && !reflect.DeepEqual(s, sample(1)) {
			t.Errorf("bit %d of %q was not seen", i%8, b)
		}
	}
}

// FuzzParse: what is read bears its own checksum, and what is written again is read as the
// same state; a file with one bit turned is never taken for another state.
func FuzzParse(f *testing.F) {
	f.Add([]byte("noonmark/learned/v1 00000000\n{}\n"), uint(3))
	good := func(t testing.TB, s State) []byte {
		d := newForgetful(rand.New(rand.NewPCG(1, 1)), false)
		if err := save(d, "d", s); err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
		b, err := d.read(filepath.Join("d", name))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	f.Add(good(f, sample(1)), uint(1000))
	f.Fuzz(func(t *testing.T, b []byte, bit uint) {
		s, err := parse(b)
		if err != nil {
			return
		}
		if back, err := parse(good(t, s)); err != nil || !reflect.DeepEqual(back, s) {
			t.Fatalf("%q came back as %+v, %v", b, back, err)
		}
		turned := bytes.Clone(b)
		turned[bit/8%uint(len(b))] ^= 1 << (bit % 8)
		if other, err := parse(turned); err == nil && !reflect.DeepEqual(other, s) {
			t.Fatalf("bit %d of %q turned, and it was read as another state", bit, b)
		}
	})
}

// TestPlanted: what somebody laid where the state should be holds nobody up, fills no
// memory, and a good generation beside it is used.
func TestPlanted(t *testing.T) {
	for what, plant := range map[string]func(path string) error{
		"pipe": func(path string) error { return syscall.Mkfifo(path, 0o600) },
		"link": func(path string) error { return os.Symlink("/etc/passwd", path) },
		"dir":  func(path string) error { return os.Mkdir(path, 0o700) },
		"huge": func(path string) error {
			return errors.Join(os.WriteFile(path, nil, 0o600), os.Truncate(path, 1<<40))
		},
	} {
		t.Run(what, func(t *testing.T) {
			dir := t.TempDir()
			if err := errors.Join(Save(dir, State{}), Save(dir, State{}), os.Remove(filepath.Join(dir, name)), plant(filepath.Join(dir, name))); err != nil {
				t.Fatal(err)
			}
			done := make(chan error, 1)
			go func() { _, err := Load(dir); done <- err }()
			select {
			case err := <-done:
				if err == nil || !strings.Contains(err.Error(), "the generation before it is used") {
					t.Errorf("%v", err)
				}
			case <-time.After(time.Minute):
				t.Fatal("held up")
			}
		})
	}
}
