package record

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
)

// Folder keeps a record in files of a folder, with a bound on their sum: the oldest are
// removed. A run has at most eight files; over many short runs a file counts as a block
// at least, so that their number is bounded, too. It belongs to one goroutine. What goes wrong with it stops the record, never the
// station.
type Folder struct {
	dir     string
	most    int64
	head    func() Header // as of now
	run     string
	part    int
	file    *os.File
	out     *Writer
	flushed timescale.Local
	broken  error
}

const (
	parts      = 8 // into so many the bound is divided
	flushEvery = 10 * time.Second
	suffix     = ".record.gz"
	leastBytes = 64 << 10
	block      = 4096 // B, the least that a file takes: a page of memory, and mke2fs(8)'s usual block
)

// OpenFolder begins a record in a folder that is made if it is not there. most bounds the
// sum of all records in it, B. run names this run of the program, for the files' names. head
// tells what the station is told and has learned.
func OpenFolder(dir string, most int64, run string, head func() Header) (*Folder, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	f := &Folder{dir: dir, most: max(most, parts*leastBytes), run: run, head: head}
	return f, f.next()
}

// next begins the next file, and removes what is too much.
func (f *Folder) next() error {
	f.end()
	f.part++
	if err := f.prune(); err != nil {
		return err
	}
	name := filepath.Join(f.dir, fmt.Sprintf("%s-%04d%s", f.run, f.part, suffix))
	var err error
	if f.file, err = os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600); err != nil {
		return fmt.Errorf("record: %w", err)
	}
	h := f.head()
	h.Run, h.Part = f.run, f.part
	f.out = NewWriter(f.file, h)
	return f.out.Flush()
}

func (f *Folder) end() {
	if f.out != nil {
		f.broken = errors.Join(f.broken, f.out.Close(), f.file.Close())
		f.out = nil
	}
}

// prune removes the oldest files until there is room for one more.
func (f *Folder) prune() error {
	list, err := Files(f.dir)
	if err != nil {
		return err
	}
	var sum int64
	for i, name := range slices.Backward(list) {
		info, err := os.Stat(name)
		if err != nil {
			return fmt.Errorf("record: %w", err)
		}
		if sum += taken(info.Size()); sum <= f.most-f.most/parts {
			continue
		}
		for _, old := range list[:i+1] {
			if err := os.Remove(old); err != nil {
				return fmt.Errorf("record: %w", err)
			}
		}
		break
	}
	return nil
}

// taken is what a file of size bytes takes of memory or disk, B: whole blocks, one at least.
func taken(size int64) int64 { return max((size+block-1)/block, 1) * block }

// Files are the records of a folder, the oldest first.
func Files(dir string) ([]string, error) {
	all, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	type dated struct {
		name string
		at   time.Time
	}
	var list []dated
	for _, e := range all {
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() && strings.HasSuffix(e.Name(), suffix) {
			list = append(list, dated{filepath.Join(dir, e.Name()), info.ModTime()})
		}
	}
	slices.SortFunc(list, func(a, b dated) int {
		if c := a.at.Compare(b.at); c != 0 && run(a.name) != run(b.name) {
			return c // of two runs
		}
		return strings.Compare(a.name, b.name)
	})
	names := make([]string, len(list))
	for i := range list {
		names[i] = list[i].name
	}
	return names, nil
}

// run is the part of a name that all files of a run share.
func run(name string) string {
	base := filepath.Base(name)
	return base[:max(strings.LastIndexByte(base, '-'), 0)]
}

// Put records an input.
func (f *Folder) Put(in *station.Input) {
	if f.broken == nil {
		f.out.Put(in)
	}
}

// Tick is called now and then: it sees to it that the file on disk is whole, and begins the
// next one when this is full. It returns what stopped the record, once.
func (f *Folder) Tick(now timescale.Local) error {
	if f.broken != nil || now.Sub(f.flushed) < flushEvery {
		return nil
	}
	f.flushed = now
	err := f.out.Flush()
	if info, e := f.file.Stat(); err == nil && e == nil && info.Size() > f.most/parts {
		err = f.next()
	}
	if err != nil {
		f.broken = err
		f.end()
	}
	return err
}

// Close ends the record.
func (f *Folder) Close() error {
	f.end()
	return f.broken
}
