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

// Load reads the status file at path. The errors are those of Parse, and of the
// file: errors.Is(err, fs.ErrNotExist) when there is none.
func Load(path string) (Snapshot, error) {
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

// Find loads the status of the first of dirs that holds a fresh one, and
// otherwise the first that can be read at all: a service killed last week must
// not hide the one running now. A directory that somebody else could have filled
// (safefile.Dir) is not looked into. It returns the file's path too. With none
// readable the error is that of the first file that is there, or says where it
// looked.
func Find(now Now, dirs ...string) (Snapshot, string, error) {
	var old Snapshot
	var oldPath string
	var firstErr error
	for _, dir := range dirs {
		path := filepath.Join(dir, FileName)
		err := safefile.Dir(dir)
		var s Snapshot
		if err == nil {
			s, err = Load(path)
		}
		switch {
		case errors.Is(err, os.ErrNotExist):
		case err != nil && firstErr == nil:
			firstErr = err
		case err != nil:
		case Fresh(s, now).OK:
			return s, path, nil
		case oldPath == "":
			old, oldPath = s, path
		}
	}
	switch {
	case oldPath != "":
		return old, oldPath, nil
	case firstErr != nil:
		return Snapshot{}, "", firstErr
	}
	return Snapshot{}, "", fmt.Errorf("status: no %s in %q: %w", FileName, dirs, os.ErrNotExist)
}
