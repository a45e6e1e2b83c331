package status

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"noonmark/status/safefile"
)

// FileName is the name of the status file in a run directory.
const FileName = "status.json"

// maxSize is the largest status file that is read or written: a hundred times
// what a busy station needs, and small enough for the smallest computer.
const maxSize = 1 << 20

// ErrSchema marks a status written by another version of the program.
var ErrSchema = errors.New("status: another version's file")

// Parse reads a snapshot from its JSON. Whatever b holds, it does not panic:
// what is torn, too large, of another schema (ErrSchema) or of the wrong type is
// an error. A Snapshot that parses may still be old or lack members: ask Fresh.
func Parse(b []byte) (Snapshot, error) {
	if len(b) > maxSize {
		return Snapshot{}, fmt.Errorf("status: larger than %d bytes", maxSize)
	}
	var head struct {
		Schema string `json:"schema"`
	}
	if err := json.Unmarshal(b, &head); err != nil {
		return Snapshot{}, fmt.Errorf("status: parse: %w", err)
	}
	if head.Schema != SchemaName {
		return Snapshot{}, fmt.Errorf("%w: its schema is %q, this program reads %q",
			ErrSchema, clip(head.Schema, 60), SchemaName)
	}
	var s Snapshot
	if err := json.Unmarshal(b, &s); err != nil {
		return Snapshot{}, fmt.Errorf("status: parse: %w", err)
	}
	return s, nil
}

// load reads the status file at path. Readers come by Find, which reads the clocks too,
// after the file. The errors are those of Parse, and of the
// file: errors.Is(err, fs.ErrNotExist) when there is none.
func load(path string) (Snapshot, error) {
	b, err := safefile.Read(path, maxSize)
	if err != nil {
		return Snapshot{}, fmt.Errorf("status: %w", err)
	}
	s, err := Parse(b)
	if err != nil {
		return Snapshot{}, fmt.Errorf("%w (%s)", err, path)
	}
	return s, nil
}

// A Found is a status as a reader has it: what the file at Path holds, and the
// reader's present, taken after the file was read.
type Found struct {
	Status Snapshot
	Now    Now
	Path   string
}

// Find loads the status of the first of dirs that holds a fresh one, and
// otherwise the first that can be read at all: a service killed last week must
// not hide the one running now. A directory that somebody else could have filled
// (safefile.Dir) is not looked into. With none readable the error is that of the
// first file that is there, or says where it looked; Now is known then too.
//
// Every reader comes this way: the clocks are read after the file. On a busy
// machine a reader may be held up in between, and a status that was written
// meanwhile would be from a reader's future.
func Find(dirs ...string) (Found, error) { return find(dirs, load, ReadNow) }

func find(dirs []string, load func(path string) (Snapshot, error), present func() (Now, error)) (Found, error) {
	var old Found
	var firstErr error
	for _, dir := range dirs {
		path := filepath.Join(dir, FileName)
		err := safefile.Dir(dir)
		var s Snapshot
		if err == nil {
			s, err = load(path)
		}
		now, clockErr := present()
		if clockErr != nil {
			return Found{}, clockErr
		}
		old.Now = now
		switch {
		case errors.Is(err, os.ErrNotExist):
		case err != nil && firstErr == nil:
			firstErr = err
		case err != nil:
		case Fresh(s, now).OK:
			return Found{s, now, path}, nil
		case old.Path == "":
			old.Status, old.Path = s, path
		}
	}
	switch {
	case old.Path != "":
		return old, nil
	case firstErr != nil:
		return old, firstErr
	}
	return old, fmt.Errorf("status: no %s in %q: %w", FileName, dirs, os.ErrNotExist)
}
