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

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/port"
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
func Load(dir string) (State, error) { return load(osDisk{}, dir) }

func load(d disk, dir string) (State, error) {
	s, err := read(d, filepath.Join(dir, name))
	if err == nil {
		return s, nil
	}
	old, errOld := read(d, filepath.Join(dir, former))
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
func Save(dir string, s State) error { return save(osDisk{}, dir, s) }

func save(d disk, dir string, s State) error {
	body, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("keep: save: %w", err)
	}
	text := fmt.Appendf(nil, "%s %08x\n%s\n", version, crc32.ChecksumIEEE(body), body)
	path := filepath.Join(dir, name)
	if err := keepFormer(d, dir, path); err != nil {
		return fmt.Errorf("keep: save: %w", err)
	}
	sweep(d, dir)
	if err := d.replace(path, text); err != nil {
		return fmt.Errorf("keep: save %s: %w", path, err)
	}
	return nil
}

// sweep removes what saves that a power cut ended have left behind: renameio's name
// for a file not yet whole is a dot, the file's own name and a number.
func sweep(d disk, dir string) {
	for _, of := range []string{name, former} {
		for _, path := range d.glob(filepath.Join(dir, "."+of+"[0-9]*")) {
			d.remove(path) // of no more harm than its size
		}
	}
}

// keepFormer makes a good newest generation the one before: by a link, not a rename,
// for at no instant may there be no good generation; where links are not to be had
// (memory cards with FAT), by a copy.
func keepFormer(d disk, dir, path string) error {
	if _, err := read(d, path); err != nil {
		return nil // not worth keeping
	}
	old, tmp := filepath.Join(dir, former), filepath.Join(dir, former+".new")
	d.remove(tmp)
	if err := d.link(path, tmp); err == nil {
		return d.rename(tmp, old)
	}
	text, err := d.read(path)
	if err != nil {
		return err
	}
	return d.replace(old, text)
}

// read reads and checks one file.
func read(d disk, path string) (State, error) {
	b, err := d.read(path)
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
