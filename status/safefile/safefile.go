// Package safefile opens files that somebody else may have had a hand in: what is
// kept over a power-off, what lies in a run directory, settings, passwords. A
// planted link, pipe, device, directory or huge file neither holds the reader up
// nor fills its memory; it is an error that names the file.
//
// Any goroutine may call. Nothing is remembered.
package safefile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// Errors that Read, ReadLinked and Dir wrap.
var (
	ErrKind  = errors.New("not a regular file: remove it")
	ErrSize  = errors.New("larger than any file of ours: remove it")
	ErrOwner = errors.New("belongs to another user: remove it, or give it to the right one")
	ErrOpen  = errors.New("everybody may write to it: take that right away (chmod o-w)")
)

// Read returns the bytes of a plain file of at most limit bytes. It follows no link
// in the last part of path, and the file must belong to root, to this user, or to
// the owner of the directory it lies in.
func Read(path string, limit int64) ([]byte, error) {
	b, err := read(path, limit, syscall.O_NOFOLLOW, true)
	if errors.Is(err, syscall.ELOOP) {
		err = &fs.PathError{Op: "read", Path: path, Err: ErrKind}
	}
	return b, err
}

// ReadLinked is Read for files that an operator places: links are followed, and the
// owner may be anybody whom this user may read.
func ReadLinked(path string, limit int64) ([]byte, error) { return read(path, limit, 0, false) }

func read(path string, limit int64, flags int, owned bool) ([]byte, error) {
	// O_NONBLOCK: the opening of a pipe must not wait for its other end; O_NOCTTY: no
	// terminal becomes ours.
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK|syscall.O_NOCTTY|flags, 0)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	fi, err := f.Stat()
	if err != nil {
		return nil, err
	}
	bad := func(why error) ([]byte, error) { return nil, &fs.PathError{Op: "read", Path: path, Err: why} }
	switch {
	case !fi.Mode().IsRegular():
		return bad(ErrKind)
	case fi.Size() > limit:
		return bad(ErrSize)
	case owned && !ownedRightly(fi, filepath.Dir(path)):
		return bad(ErrOwner)
	}
	b, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err == nil && int64(len(b)) > limit {
		return bad(ErrSize)
	}
	return b, err
}

// ownedRightly: root's, ours, or the directory's owner's.
func ownedRightly(fi fs.FileInfo, dir string) bool {
	uid, ok := owner(fi)
	if !ok || uid == 0 || uid == os.Geteuid() {
		return true
	}
	d, err := os.Stat(dir)
	if err != nil {
		return false
	}
	of, ok := owner(d)
	return ok && of == uid
}

func owner(fi fs.FileInfo) (uid int, ok bool) {
	st, ok := fi.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, false
	}
	return int(st.Uid), true
}

// Dir says whether what lies in a run directory may be believed: it belongs to root,
// to this user, or to whom root gave it (it lies in a directory that only root may
// change), and not everybody may write to it.
func Dir(path string) error { return dir(path, false) }

// OwnDir says whether this user may publish in a directory: it is its own, and not
// everybody may write to it.
func OwnDir(path string) error { return dir(path, true) }

func dir(path string, own bool) error {
	fi, err := os.Stat(path)
	if err != nil {
		return err
	}
	bad := func(why error) error { return &fs.PathError{Op: "use", Path: path, Err: why} }
	uid, ok := owner(fi)
	switch {
	case !fi.IsDir():
		return bad(errors.New("not a directory: remove it, or name another (--run-dir)"))
	case fi.Mode().Perm()&0o002 != 0:
		return bad(ErrOpen)
	case !ok || uid == os.Geteuid():
		return nil
	case own || uid != 0 && !rootsOwn(path):
		return bad(fmt.Errorf("user %d's directory: %w", uid, ErrOwner))
	}
	return nil
}

// rootsOwn: only root may put something into the directory above path.
func rootsOwn(path string) bool {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return false
	}
	fi, err := os.Stat(filepath.Dir(real))
	if err != nil {
		return false
	}
	uid, ok := owner(fi)
	return ok && uid == 0 && fi.Mode().Perm()&0o022 == 0
}

// Replace makes path hold b in one step for whoever reads it. The new file never
// goes through what may lie under its temporary name. Nothing is flushed to a disk.
func Replace(path string, b []byte, mode fs.FileMode) error {
	f, err := fresh(path, mode)
	if err != nil {
		return err
	}
	tmp := f.Name()
	_, err = f.Write(b)
	if err == nil {
		err = f.Chmod(mode) // the umask took its share
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(tmp, path)
	}
	if err != nil {
		os.Remove(tmp)
	}
	return err
}

// fresh makes a file beside path that was not there before: one fixed name, so that
// what a killed process left is used up; another where something unmovable lies there.
func fresh(path string, mode fs.FileMode) (*os.File, error) {
	dir, base := filepath.Split(path)
	tmp := filepath.Join(dir, "."+base+".new")
	const flags = os.O_WRONLY | os.O_CREATE | os.O_EXCL | syscall.O_NOFOLLOW
	f, err := os.OpenFile(tmp, flags, mode)
	if !errors.Is(err, fs.ErrExist) {
		return f, err
	}
	if os.Remove(tmp) == nil {
		if f, err = os.OpenFile(tmp, flags, mode); !errors.Is(err, fs.ErrExist) {
			return f, err
		}
	}
	return os.CreateTemp(filepath.Clean(dir), "."+base+".new")
}
