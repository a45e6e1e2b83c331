// Package keep stores what the station has learned over a power-off: one small
// file, versioned and checksummed, replaced and never rewritten, with the
// generation before it kept beside it. A torn or foreign file costs no more than
// itself: the older generation is taken, or nothing.
package keep

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"github.com/google/renameio/v2"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/port"
	"noonmark/status/safefile"
)

// State is what is kept.
type State struct {
	Learned  clockcheck.Learned `json:"learned"`
	Receiver port.Identity      `json:"receiver"` // pinned: what was behind the port's name
	Steering steer.Learned      `json:"steering,omitzero"`
	Place    *station.LastPlace `json:"place,omitempty"`
}

const (
	name    = "learned.json"
	former  = "learned.previous.json"
	version = "noonmark/learned/v1"
	maxSize = 1 << 20
)

// Load reads the newest good generation in dir. The error, if any, says what was
// wrong with the newer one or with both; the State is good in any case (empty if
// there was nothing).
func Load(dir string) (State, error) {
	s, err := read(filepath.Join(dir, name))
	if err == nil {
		return s, nil
	}
	old, errOld := read(filepath.Join(dir, former))
	if errOld == nil {
		if errors.Is(err, fs.ErrNotExist) {
			return old, nil // a power cut fell between the two renames
		}
		return old, fmt.Errorf("%w; the generation before it is used", err)
	}
	if errors.Is(err, fs.ErrNotExist) && errors.Is(errOld, fs.ErrNotExist) {
		return State{}, nil
	}
	return State{}, fmt.Errorf("%w; starting without what was learned", err)
}

// Check tells whether something can be kept in dir: the error says why not.
func Check(dir string) error {
	f, err := os.CreateTemp(dir, "."+name+"0*")
	if err != nil {
		return fmt.Errorf("keep: %w", err)
	}
	defer os.Remove(f.Name())
	_, err = f.Write(make([]byte, 16<<10)) // a state is about 5 kB, and three lie there for a moment
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("keep: %w", err)
	}
	return nil
}

// Save replaces the newest generation and keeps the one before.
func Save(dir string, s State) error {
	body, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("keep: save: %w", err)
	}
	text := fmt.Appendf(nil, "%s %08x\n%s\n", version, crc32.ChecksumIEEE(body), body)
	path := filepath.Join(dir, name)
	if err := keepFormer(dir, path); err != nil {
		return fmt.Errorf("keep: save: %w", err)
	}
	sweep(dir)
	if err := replace(path, text); err != nil {
		return fmt.Errorf("keep: save %s: %w", path, err)
	}
	return nil
}

// replace writes beside the file, not in the folder for temporary files: to find out
// whether that one will do takes two more files each time, and memory cards wear.
func replace(path string, text []byte) error {
	return renameio.WriteFile(path, text, 0o644, renameio.WithTempDir(filepath.Dir(path)))
}

// sweep removes what saves that a power cut ended have left behind: renameio's name
// for a file not yet whole is a dot, the file's own name and a number.
func sweep(dir string) {
	for _, of := range []string{name, former} {
		left, _ := filepath.Glob(filepath.Join(dir, "."+of+"[0-9]*")) // the pattern is good
		for _, path := range left {
			os.Remove(path) // of no more harm than its size
		}
	}
}

// keepFormer makes a good newest generation the one before: by a link, not a rename,
// for at no instant may there be no good generation; where links are not to be had
// (memory cards with FAT), by a copy.
func keepFormer(dir, path string) error {
	if _, err := read(path); err != nil {
		return nil // not worth keeping
	}
	old, tmp := filepath.Join(dir, former), filepath.Join(dir, former+".new")
	os.Remove(tmp)
	if err := os.Link(path, tmp); err == nil {
		return os.Rename(tmp, old)
	}
	text, err := safefile.Read(path, maxSize)
	if err != nil {
		return err
	}
	return replace(old, text)
}

// read reads and checks one file.
func read(path string) (State, error) {
	b, err := safefile.Read(path, maxSize)
	if err != nil {
		return State{}, fmt.Errorf("keep: %w", err)
	}
	s, err := parse(b)
	if err != nil {
		return State{}, fmt.Errorf("keep: %s: %w", path, err)
	}
	return s, nil
}

// parse checks a file's text: version, checksum, JSON.
func parse(b []byte) (State, error) {
	if len(b) > maxSize {
		return State{}, errors.New("too large to be ours")
	}
	head, body, ok := bytes.Cut(b, []byte("\n"))
	v, sum, ok2 := bytes.Cut(head, []byte(" "))
	if !ok || !ok2 || string(v) != version {
		return State{}, errors.New("not a file of this version of noonmark")
	}
	body = bytes.TrimSuffix(body, []byte("\n"))
	want, err := strconv.ParseUint(string(sum), 16, 32)
	if err != nil || uint32(want) != crc32.ChecksumIEEE(body) {
		return State{}, errors.New("damaged: its checksum is wrong")
	}
	var s State
	if err := json.Unmarshal(body, &s); err != nil {
		return State{}, fmt.Errorf("damaged: %w", err)
	}
	return s, nil
}
