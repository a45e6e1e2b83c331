package record_test

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/record"
	"noonmark/cmd/internal/station"
)

// noise is bytes that do not shrink.
func noise(rng *rand.Rand) *station.Input {
	p := make([]byte, 3000)
	for i := range p {
		p[i] = byte(rng.Uint32())
	}
	return &station.Input{Bytes: &station.Bytes{P: p}}
}

// The files of a folder never hold much more than the bound; the newest are kept, over runs
// too; each can be read on its own, and is private.
func TestFolderIsBounded(t *testing.T) {
	dir, rng := filepath.Join(t.TempDir(), "record"), rand.New(rand.NewPCG(1, 1))
	head := func() record.Header { return record.Header{Config: config(t, false)} }
	const most = 1 << 20
	for _, run := range []string{"first", "second"} {
		f, err := record.OpenFolder(dir, most, run, head)
		if err != nil {
			t.Fatal(err)
		}
		for i := range 1000 {
			f.Put(noise(rng))
			if err := f.Tick(timescale.Local(i) * 10e9); err != nil {
				t.Fatal(err)
			}
			if sum := size(t, dir); sum > most*9/8+8192 {
				t.Fatalf("%d B, at most %d", sum, most)
			}
		}
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}
	files, err := record.Files(dir)
	if err != nil || len(files) < 6 {
		t.Fatalf("%v, %v", files, err)
	}
	for _, name := range files {
		if info, _ := os.Stat(name); info.Mode().Perm() != 0o600 {
			t.Errorf("%s is %v", name, info.Mode())
		}
		in, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		defer in.Close()
		r, err := record.NewReader(in)
		if err != nil || r.Header.Run != "second" || r.Header.Part < 2 {
			t.Fatalf("%s: %v, %+v", name, err, r)
		}
		n := 0
		for ; ; n++ {
			if _, err := r.Next(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatal(err)
			}
		}
		if n == 0 {
			t.Errorf("%s holds nothing", name)
		}
	}
}

// One long run has eight files at most, whatever it records.
func TestOneRunHasEightFiles(t *testing.T) {
	dir, rng, most := t.TempDir(), rand.New(rand.NewPCG(2, 2)), 0
	f, err := record.OpenFolder(dir, 1, "run", func() record.Header { return record.Header{} })
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for i := range 350 {
		f.Put(noise(rng))
		if err := f.Tick(timescale.Local(i) * 10e9); err != nil {
			t.Fatal(err)
		}
		files, err := record.Files(dir)
		if most = max(most, len(files)); err != nil || most > 8 {
			t.Fatalf("%d files after %d inputs, %v", most, i+1, err)
		}
	}
	if most < 6 {
		t.Errorf("%d files at most: nothing was rotated", most)
	}
}

// A program that starts again and again leaves no more files than the bound has blocks.
func TestManyShortRuns(t *testing.T) {
	dir, most := t.TempDir(), 0
	for i := range 160 {
		f, err := record.OpenFolder(dir, 1, fmt.Sprintf("run%04d", i), func() record.Header { return record.Header{} })
		if err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		files, err := record.Files(dir)
		if err != nil {
			t.Fatal(err)
		}
		most = max(most, len(files))
	}
	if room := 512 << 10 / 4096; most > room || most < room/2 {
		t.Errorf("%d files at most, of the %d that the least bound, 512 KiB, has room for", most, room)
	}
}

func size(t *testing.T, dir string) (sum int64) {
	files, err := record.Files(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		info, err := os.Stat(f)
		if err != nil {
			t.Fatal(err)
		}
		sum += info.Size()
	}
	return sum
}

// A program that is killed loses the last ten seconds at most.
func TestWhatIsFlushedIsThere(t *testing.T) {
	dir := t.TempDir()
	f, err := record.OpenFolder(dir, 1<<20, "run", func() record.Header { return record.Header{} })
	if err != nil {
		t.Fatal(err)
	}
	mode := "FT8"
	for i := range 25 {
		f.Put(&station.Input{Use: &mode})
		if err := f.Tick(timescale.Local(i+1) * timescale.Local(time.Second)); err != nil {
			t.Fatal(err)
		}
	}
	files, _ := record.Files(dir) // it was not closed
	in, err := os.Open(files[0])
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	r, err := record.NewReader(in)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for ; err == nil; n++ {
		_, err = r.Next()
	}
	if n-1 < 15 || !errors.Is(err, io.EOF) {
		t.Errorf("%d inputs of 25, then %v", n-1, err)
	}
}

// A folder that cannot be written stops the record, and says why once.
func TestBrokenFolder(t *testing.T) {
	if _, err := record.OpenFolder("/dev/null/record", 1<<20, "run", func() record.Header { return record.Header{} }); err == nil {
		t.Error("a folder below a device was opened")
	}
}
