package status

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// ramDir is a directory in RAM, or the test is skipped.
func ramDir(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "noonmark-test-")
	if err != nil {
		t.Skipf("no directory in RAM here: %v", err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// diskDir is a directory that is not in RAM, or the test is skipped.
func diskDir(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	var fs unix.Statfs_t
	if err := unix.Statfs(dir, &fs); err != nil || int64(fs.Type) == tmpfsMagic {
		t.Skip("the temporary directory is in RAM here")
	}
	return dir
}

func TestNewPublisherRefuses(t *testing.T) {
	disk := diskDir(t)
	_, err := NewPublisher(disk, false)
	if !errors.Is(err, ErrNotRAM) || !strings.Contains(err.Error(), disk) || !strings.Contains(err.Error(), "--run-dir") {
		t.Errorf("on a disk: got %v", err)
	}
	if names, _ := os.ReadDir(disk); len(names) != 0 {
		t.Errorf("on a disk: left %v", names)
	}
	file := filepath.Join(disk, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := NewPublisher(file, true); err == nil {
		t.Error("a file: accepted")
	}
	ram := ramDir(t)
	p, err := NewPublisher(ram, false)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := NewPublisher(ram, false); err == nil || !strings.Contains(err.Error(), "another noonmark") {
		t.Errorf("twice: got %v", err)
	}
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	if p, err = NewPublisher(ram, false); err != nil {
		t.Fatalf("after the first has gone: %v", err)
	}
	p.Close()
}

func TestPublish(t *testing.T) {
	defer unix.Umask(unix.Umask(0o077)) // as a hardened service has it
	dir := filepath.Join(ramDir(t), "noonmark")
	p, err := NewPublisher(dir, false)
	if err != nil {
		t.Fatal(err)
	}
	grid := filepath.Join(dir, GridName)
	check := func(what, locator string) {
		t.Helper()
		got, err := load(filepath.Join(dir, FileName))
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if (got.Position == nil) != (locator == "") {
			t.Errorf("%s: position %v", what, got.Position)
		}
		b, err := os.ReadFile(grid)
		if locator == "" && !errors.Is(err, os.ErrNotExist) || locator != "" && string(b) != locator+"\n" {
			t.Errorf("%s: grid file %q, %v; want %q", what, b, err, locator)
		}
		entries, _ := os.ReadDir(dir)
		for _, e := range entries {
			if fi, err := e.Info(); err != nil || fi.Mode() != 0o644 {
				t.Errorf("%s: %s is %v, %v", what, e.Name(), fi.Mode(), err)
			}
			if strings.HasPrefix(e.Name(), ".") {
				t.Errorf("%s: %s is left", what, e.Name())
			}
		}
	}
	publish := func(s Snapshot) {
		t.Helper()
		if err := p.Publish(&s); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(grid, []byte("JJ00\n"), 0o644); err != nil { // of a killed one
		t.Fatal(err)
	}
	publish(least())
	check("no fix: an old grid file goes", "")
	publish(full())
	check("fix", "FG69GU18")
	first, err := os.Stat(grid)
	if err != nil {
		t.Fatal(err)
	}
	publish(full())
	if again, err := os.Stat(grid); err != nil || !os.SameFile(first, again) {
		t.Errorf("an unchanged grid file was replaced: %v", err)
	}
	if err := os.Remove(grid); err != nil {
		t.Fatal(err)
	}
	publish(full())
	check("tidied away", "FG69GU18")
	s := full()
	s.Position.Kept = true
	publish(s)
	if _, err := os.Stat(grid); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the grid file cannot say that a place is from before, and holds it: %v", err)
	}
	s = full()
	s.Position.Locator = "FG69GU"
	publish(s)
	check("moved", "FG69GU")

	big := full()
	big.Clock.Because = strings.Repeat("x", maxSize)
	if err := p.Publish(&big); err == nil {
		t.Error("published what no reader takes")
	}
	check("after a refusal", "FG69GU")
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 0 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}

// A reader never sees half a file, nor none.
func TestPublishAtomic(t *testing.T) {
	dir := ramDir(t)
	p, err := NewPublisher(dir, false)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	long, short := full(), least()
	long.Clock.Because = strings.Repeat("salt ", 20000)
	if err := p.Publish(&long); err != nil {
		t.Fatal(err)
	}
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
			}
			if _, err := load(filepath.Join(dir, FileName)); err != nil {
				t.Error(err)
				return
			}
		}
	})
	for range 150 {
		if err := errors.Join(p.Publish(&short), p.Publish(&long)); err != nil {
			t.Error(err)
		}
	}
	close(stop)
	wg.Wait()
}

func BenchmarkPublish(b *testing.B) {
	p, err := NewPublisher(ramDir(b), false)
	if err != nil {
		b.Fatal(err)
	}
	defer p.Close()
	s := full()
	b.ReportAllocs()
	for b.Loop() {
		if err := p.Publish(&s); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReady(b *testing.B) {
	dir := ramDir(b)
	p, err := NewPublisher(dir, false)
	if err != nil {
		b.Fatal(err)
	}
	defer p.Close()
	s := full()
	if err := p.Publish(&s); err != nil {
		b.Fatal(err)
	}
	now := after(s, 1, 0)
	b.ReportAllocs()
	for b.Loop() {
		found, err := Find(dir)
		if err != nil {
			b.Fatal(err)
		}
		if r, err := Ready(found.Status, now, nil); err != nil || r.Answer != Yes {
			b.Fatal(r, err)
		}
	}
}

// The grid file's time of change is renewed with each status: when the service is gone,
// a script sees it.
func TestGridIsRenewed(t *testing.T) {
	p, err := NewPublisher(t.TempDir(), true)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	s := full()
	path := filepath.Join(p.Dir(), GridName)
	old := time.Now().Add(-time.Hour)
	for range 2 {
		if err := p.Publish(&s); err != nil {
			t.Fatal(err)
		}
		fi, err := os.Stat(path)
		if err != nil || fi.ModTime().Before(old.Add(time.Minute)) {
			t.Fatalf("changed %v, %v", fi.ModTime(), err)
		}
		if err := os.Chtimes(path, old, old); err != nil {
			t.Fatal(err)
		}
	}
}
