package status

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func TestParseBad(t *testing.T) {
	good, err := json.Marshal(full())
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name, text, want string
		is               error
	}{
		{"empty", "", "unexpected end", nil},
		{"torn", string(good[:len(good)/2]), "unexpected end", nil},
		{"two of them", string(good) + string(good), "after top-level value", nil},
		{"not JSON", "\x00\x01", "invalid character", nil},
		{"an array", "[]", "cannot unmarshal array", nil},
		{"null", "null", `its schema is ""`, ErrSchema},
		{"no schema", `{"live":true}`, `its schema is ""`, ErrSchema},
		{"the next version", `{"schema":"noonmark/status/v2","clock":7}`, `its schema is "noonmark/status/v2", this program reads "noonmark/status/v1"`, ErrSchema},
		{"a list for an object", `{"schema":"noonmark/status/v1","clock":[]}`, "cannot unmarshal array", nil},
		{"text for a number", `{"schema":"noonmark/status/v1","clock":{"error_s":"0"}}`, "cannot unmarshal string", nil},
		{"a number too large", `{"schema":"noonmark/status/v1","clock":{"error_s":1e999}}`, "cannot unmarshal number", nil},
		{"no time", `{"schema":"noonmark/status/v1","written":{"system_utc":"noon"}}`, `time "noon" is not RFC 3339`, nil},
		{"too large", strings.Repeat(" ", maxSize+1), "larger than", nil},
		{"too deep", `{"schema":"noonmark/status/v1","x":` + strings.Repeat("[", 100000), "exceeded max depth", nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Parse([]byte(tt.text))
			if err == nil || !strings.HasPrefix(err.Error(), "status: ") || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got %v, want %q", err, tt.want)
			}
			if tt.is != nil && !errors.Is(err, tt.is) {
				t.Errorf("%v is not %v", err, tt.is)
			}
		})
	}
}

// Whatever is missing, nothing that is missing reads as good.
func TestParseLeavesOut(t *testing.T) {
	s, err := Parse([]byte(`{"schema":"noonmark/status/v1","modes":[{"mode":"FT8"}],"clock":null}`))
	if err != nil {
		t.Fatal(err)
	}
	if s.Live || s.Clock.ErrorS.OK || s.Position != nil {
		t.Errorf("got %+v", s)
	}
	if r, err := Ready(s, Now{}, nil); err != nil || r.Answer != CannotTell {
		t.Errorf("got %+v, %v", r, err)
	}
}

func TestLoadBad(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe")
	if err := unix.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	big := filepath.Join(dir, "big")
	if err := os.WriteFile(big, make([]byte, maxSize+5), 0o600); err != nil {
		t.Fatal(err)
	}
	torn := filepath.Join(dir, "torn")
	if err := os.WriteFile(torn, []byte(`{"sch`), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		filepath.Join(dir, "absent"): "no such file", pipe: "not a regular file", dir: "not a regular file",
		big: "larger than", torn: "(" + torn + ")",
	} {
		done := make(chan error, 1)
		go func() { _, err := load(path); done <- err }()
		select {
		case err := <-done:
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: got %v, want %q", path, err, want)
			}
		case <-time.After(time.Minute):
			t.Errorf("%s: hangs", path)
		}
	}
}

func TestFind(t *testing.T) {
	write := func(dir string, s Snapshot) string {
		t.Helper()
		b, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, FileName), b, 0o600); err != nil {
			t.Fatal(err)
		}
		return filepath.Join(dir, FileName)
	}
	none, stale, fresh, torn := t.TempDir(), t.TempDir(), t.TempDir(), t.TempDir()
	old := full()
	old.Written.BoottimeS -= 100
	stalePath, freshPath := write(stale, old), write(fresh, full())
	if err := os.WriteFile(filepath.Join(torn, FileName), []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	now := Now{BootID: "b1", BoottimeS: 813, System: full().Written.SystemUTC.V.Add(600 * time.Millisecond)}
	for _, tt := range []struct {
		name, path, err string
		dirs            []string
	}{
		{"nowhere", "", "no status.json in", nil},
		{"none", "", "no status.json in", []string{none}},
		{"torn", "", "unexpected end", []string{none, torn}},
		{"stale", stalePath, "", []string{torn, stale, none}},
		{"fresh behind stale", freshPath, "", []string{stale, fresh}},
		{"first", freshPath, "", []string{fresh, stale}},
	} {
		found, err := find(tt.dirs, load, func() (Now, error) { return now, nil })
		path := found.Path
		if path != tt.path || (err == nil) != (tt.err == "") || err != nil && !strings.Contains(err.Error(), tt.err) {
			t.Errorf("%s: got %q, %v; want %q, %q", tt.name, path, err, tt.path, tt.err)
		}
		if tt.err == "no status.json in" && !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s: %v is not ErrNotExist", tt.name, err)
		}
	}
}

// A reader that a busy machine holds up between its two looks, at the file and at the
// clock: the service publishes meanwhile. What it published is news, not the future; and
// its age is never negative.
func TestSlowReader(t *testing.T) {
	clock := full().Written.BoottimeS
	service := func(string) (Snapshot, error) { // opening the file is slow: what is read is of then
		clock += 2
		s := full()
		s.Written.BoottimeS = clock
		clock += 0.5
		return s, nil
	}
	present := func() (Now, error) {
		n := Now{BootID: "b1", BoottimeS: clock, System: full().Written.SystemUTC.V}
		return n, nil
	}
	for _, dirs := range [][]string{{t.TempDir()}, {t.TempDir(), t.TempDir()}} {
		found, err := find(dirs, service, present)
		if f := Fresh(found.Status, found.Now); err != nil || !f.OK || f.AgeS < 0 {
			t.Errorf("%d directories: got %+v, %v; want fresh", len(dirs), f, err)
		}
	}
}

// FuzzRead: no file makes a reader crash, write past the screen's width, command
// the terminal, or say yes to numbers that do not bear it out.
func FuzzRead(f *testing.F) {
	for _, s := range []Snapshot{full(), least()} {
		b, err := json.Marshal(s)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
		f.Add(b[:len(b)/2])
	}
	ex, err := os.ReadFile("testdata/example.json")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(ex)
	f.Add([]byte(`{"schema":"noonmark/status/v1","live":true,"written":{"boot_id":"b1","boottime_s":813,"stale_after_s":1e308,"system_utc":"2031-02-03T04:05:06Z"},"modes":[{"verdict":"within","tolerance_s":1e300,"margin_s":-1e308}],"clock":{"basis":"gnss","error_s":-1e308,"guard_s":1e308}}`))
	now := Now{BootID: "b1", BoottimeS: 813, System: full().Written.SystemUTC.V}
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := Parse(b)
		if err != nil {
			return
		}
		r, err := Ready(s, now, nil)
		if err != nil {
			t.Fatal(err)
		}
		if r.Answer == Yes {
			for _, m := range r.Modes {
				e, g := s.Clock.ErrorS.V+Fresh(s, now).StepS, s.Clock.GuardS.V
				if !s.Live || s.Written.BootID != now.BootID || !(max(e, -e)+g <= m.ToleranceS) {
					t.Fatalf("yes to %s", b)
				}
			}
		}
		for _, line := range strings.Split(s.Text()+s.Why()+r.Text(), "\n") {
			if len([]rune(line)) > lineWidth || strings.ContainsAny(line, "\x00\x07\x1b\r\u009b\u202e") {
				t.Fatalf("line %q", line)
			}
		}
		if _, err := json.Marshal(r); err != nil {
			t.Fatal(err)
		}
		out, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Parse(out); err != nil && len(out) < maxSize {
			t.Fatalf("what was read is written so that it cannot be: %v", err)
		}
	})
}
