package keep

import (
	"os"
	"path/filepath"

	"github.com/google/renameio/v2"

	"noonmark/status/safefile"
)

// disk is what keeping needs of a file system. Its tests have one that forgets what was
// not flushed.
type disk interface {
	read(path string) ([]byte, error)
	// replace makes path hold text in one step; text is flushed before.
	replace(path string, text []byte) error
	link(old, new string) error
	rename(old, new string) error
	remove(path string)
	glob(pattern string) []string
}

type osDisk struct{}

func (osDisk) read(path string) ([]byte, error) { return safefile.Read(path, maxSize) }

// replace writes beside the file, not in the folder for temporary files: to find out
// whether that one will do takes two more files each time, and memory cards wear.
func (osDisk) replace(path string, text []byte) error {
	return renameio.WriteFile(path, text, 0o644, renameio.WithTempDir(filepath.Dir(path)))
}

func (osDisk) link(old, new string) error   { return os.Link(old, new) }
func (osDisk) rename(old, new string) error { return os.Rename(old, new) }
func (osDisk) remove(path string)           { os.Remove(path) }

func (osDisk) glob(pattern string) []string {
	found, _ := filepath.Glob(pattern) // the patterns are good
	return found
}
