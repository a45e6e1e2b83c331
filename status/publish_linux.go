package status

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"

	"noonmark/status/safefile"
)

// Rules of this file.
//
//   - Files are replaced, never rewritten: a reader sees the old one or the new
//     one. Nothing is flushed to a disk, because nothing lies on one.
//   - Only a directory in RAM is written to: a file replaced every second wears
//     an SD card out. Demonstrations, which last minutes, may ask for an exception.
//   - Only our own directory, to which nobody else may write.
//   - One publisher a directory: the directory is locked while it is open.
//   - The file is for everybody to read, whatever the umask of the service.

// GridName is the name of the file that holds the locator and a newline.
const GridName = "grid"

// Statfs types of the file systems that live in RAM (statfs(2)).
const (
	tmpfsMagic = unix.TMPFS_MAGIC
	ramfsMagic = unix.RAMFS_MAGIC
)

// ErrNotRAM says that the run directory is not in RAM.
var ErrNotRAM = errors.New("not in RAM, and a file replaced every second wears a disk out: " +
	"use a directory under /run (--run-dir)")

// A Publisher replaces the status file and the grid file of one directory. It
// belongs to one goroutine.
type Publisher struct {
	path, grid string
	lock       *os.File
	locator    string // in the grid file now
	gridOK     bool   // the grid file is known to hold locator, or to be absent
}

// NewPublisher makes dir if it is not there and takes it: one Publisher at a time
// may have it. It fails with ErrNotRAM if dir is not in RAM, unless anyDisk.
func NewPublisher(dir string, anyDisk bool) (*Publisher, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("status: %w", err)
	}
	lock, err := os.Open(dir)
	if err != nil {
		return nil, fmt.Errorf("status: %w", err)
	}
	if err := take(lock, anyDisk); err != nil {
		lock.Close()
		return nil, fmt.Errorf("status: publish in %s: %w", dir, err)
	}
	return &Publisher{path: filepath.Join(dir, FileName), grid: filepath.Join(dir, GridName), lock: lock}, nil
}

// take checks that the directory open as d is fit, and locks it.
func take(d *os.File, anyDisk bool) error {
	var fs unix.Statfs_t
	if err := unix.Fstatfs(int(d.Fd()), &fs); err != nil {
		return err
	}
	// The field's type differs between architectures.
	if t := int64(fs.Type); !anyDisk && t != tmpfsMagic && uint32(t) != ramfsMagic {
		return ErrNotRAM
	}
	if err := unix.Access(d.Name(), unix.W_OK); err != nil {
		return fmt.Errorf("write: %w", err)
	}
	if err := safefile.OwnDir(d.Name()); err != nil {
		return err
	}
	err := unix.Flock(int(d.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return errors.New("another noonmark publishes there: stop it, or give this one a --run-dir of its own")
	}
	return err
}

// Dir returns the directory published in.
func (p *Publisher) Dir() string { return filepath.Dir(p.path) }

// Publish replaces the status file, and the grid file if the locator changed.
// After an error the files are as they were; readers see them grow old.
func (p *Publisher) Publish(s *Snapshot) error {
	b, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("status: publish: %w", err)
	}
	if len(b) >= maxSize {
		return fmt.Errorf("status: publish: %d bytes, readers take %d", len(b), maxSize)
	}
	if err := safefile.Replace(p.path, append(b, '\n'), 0o644); err != nil {
		return fmt.Errorf("status: publish: %w", err)
	}
	if err := p.publishGrid(s.Position); err != nil {
		return fmt.Errorf("status: publish: %w", err)
	}
	return nil
}

// publishGrid makes the grid file hold the place's locator, or be absent.
func (p *Publisher) publishGrid(pos *Position) error {
	locator := ""
	if pos != nil && !pos.Kept { // the file cannot say how old it is
		locator = pos.Locator
	}
	if p.gridOK && locator == p.locator {
		// Still what we wrote? Somebody may have tidied up.
		// A file cannot say how old it is, but its time of change can: it is renewed with
		// each status, so that a script sees when nobody is there any more.
		if locator == "" || unix.UtimesNanoAt(unix.AT_FDCWD, p.grid, nil, unix.AT_SYMLINK_NOFOLLOW) == nil {
			return nil
		}
	}
	p.gridOK = false
	if locator == "" {
		if err := os.Remove(p.grid); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	} else if err := safefile.Replace(p.grid, []byte(locator+"\n"), 0o644); err != nil {
		return err
	}
	p.locator, p.gridOK = locator, true
	return nil
}

// Close removes both files, so that nobody takes the last word for the present
// one, and frees the directory.
func (p *Publisher) Close() error {
	var errs []error
	for _, path := range []string{p.path, p.grid} {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			errs = append(errs, fmt.Errorf("status: %w", err))
		}
	}
	return errors.Join(append(errs, p.lock.Close())...)
}
