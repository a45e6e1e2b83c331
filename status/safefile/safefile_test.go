package safefile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// soon fails the test if do is held up.
func soon(t *testing.T, what string, do func()) {
	t.Helper()
	done := make(chan struct{})
	go func() { defer close(done); do() }()
	select {
	case <-done:
	case <-time.After(time.Minute):
		t.Fatalf("%s: held up", what)
	}
}

// planted makes one of each thing that may lie where a file should.
func planted(t *testing.T) map[string]string {
	t.Helper()
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(os.WriteFile(at("target"), []byte("secret"), 0o600))
	must(os.Symlink(at("target"), at("link")))
	must(os.Symlink(at("nothing"), at("dangling")))
	must(syscall.Mkfifo(at("pipe"), 0o600))
	must(os.Mkdir(at("folder"), 0o700))
	must(os.WriteFile(at("folder/full"), nil, 0o600))
	must(os.WriteFile(at("huge"), nil, 0o600))
	must(os.Truncate(at("huge"), 1<<40))
	return map[string]string{"link": at("link"), "dangling": at("dangling"), "pipe": at("pipe"), "folder": at("folder"), "huge": at("huge"), "device": "/dev/zero"}
}

func TestReadRefuses(t *testing.T) {
	for what, path := range planted(t) {
		soon(t, what, func() {
			want := ErrKind
			if what == "huge" {
				want = ErrSize
			}
			if b, err := Read(path, 100); !errors.Is(err, want) {
				t.Errorf("%s: %q, %v, want %v", what, b, err, want)
			}
		})
	}
	if _, err := Read(filepath.Join(t.TempDir(), "none"), 100); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("nothing there: %v", err)
	}
}

func TestRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "f")
	if err := os.WriteFile(path, []byte("0123456789"), 0o600); err != nil {
		t.Fatal(err)
	}
	if b, err := Read(path, 10); string(b) != "0123456789" || err != nil {
		t.Errorf("%q, %v", b, err)
	}
	if _, err := Read(path, 9); !errors.Is(err, ErrSize) {
		t.Errorf("one byte too many: %v", err)
	}
	link := path + ".link"
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	if b, err := ReadLinked(link, 10); string(b) != "0123456789" || err != nil {
		t.Errorf("a link that may be followed: %q, %v", b, err)
	}
	for what, path := range planted(t) {
		if what == "link" || what == "dangling" {
			continue
		}
		soon(t, what, func() {
			if b, err := ReadLinked(path, 100); err == nil {
				t.Errorf("%s: %q", what, b)
			}
		})
	}
}

// TestOwners needs root, to give files away.
func TestOwners(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root can give files away")
	}
	const other = 54321
	dir := filepath.Join(t.TempDir(), "run")
	path := filepath.Join(dir, "f")
	if err := errors.Join(os.Mkdir(dir, 0o755), os.WriteFile(path, []byte("x"), 0o644), os.Chown(path, other, other)); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(path, 10); !errors.Is(err, ErrOwner) {
		t.Errorf("another's file: %v", err)
	}
	if err := os.Chown(dir, other, other); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(path, 10); err != nil {
		t.Errorf("the file of the directory's owner: %v", err)
	}
	if err := OwnDir(dir); !errors.Is(err, ErrOwner) {
		t.Errorf("publish in another's directory: %v", err)
	}
	if err := Dir(dir); err != nil { // its parent is root's alone
		t.Errorf("a directory that root gave to somebody: %v", err)
	}
	if err := os.Chmod(filepath.Dir(dir), 0o1777); err != nil {
		t.Fatal(err)
	}
	if err := Dir(dir); !errors.Is(err, ErrOwner) {
		t.Errorf("another's directory where everybody makes directories: %v", err)
	}
}

func TestDirs(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	if err := Dir(dir); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("none: %v", err)
	}
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, check := range []func(string) error{Dir, OwnDir} {
		os.Chmod(dir, 0o777)
		if err := check(dir); !errors.Is(err, ErrOpen) {
			t.Errorf("everybody's: %v", err)
		}
		os.Chmod(dir, 0o755)
		if err := check(dir); err != nil {
			t.Errorf("our own: %v", err)
		}
		if err := check("/etc/hostname"); err == nil {
			t.Error("a file is no directory")
		}
	}
}

// TestReplace: whatever lies under the temporary name, what is pointed to stays as it
// is, and the file gets there.
func TestReplace(t *testing.T) {
	for what := range planted(t) {
		if what == "device" {
			continue
		}
		t.Run(what, func(t *testing.T) {
			all := planted(t)
			dir := filepath.Dir(all[what])
			path := filepath.Join(dir, "status")
			if err := os.Rename(all[what], filepath.Join(dir, ".status.new")); err != nil {
				t.Fatal(err)
			}
			for _, text := range []string{"one", "two"} {
				soon(t, what, func() {
					if err := Replace(path, []byte(text), 0o644); err != nil {
						t.Errorf("%v", err)
					}
				})
				if b, err := Read(path, 10); string(b) != text || err != nil {
					t.Errorf("%q, %v", b, err)
				}
			}
			if fi, _ := os.Lstat(path); fi.Mode() != 0o644 {
				t.Errorf("mode %v", fi.Mode())
			}
			if b, _ := os.ReadFile(filepath.Join(dir, "target")); string(b) != "secret" {
				t.Errorf("what a link pointed to became %q", b)
			}
			if left, _ := filepath.Glob(filepath.Join(dir, ".status.new?*")); len(left) != 0 {
				t.Errorf("left behind: %q", left)
			}
		})
	}
}
