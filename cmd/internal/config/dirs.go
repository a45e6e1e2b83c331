package config

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Environment is what the places of files depend on.
type Environment struct {
	Getenv func(string) string
	UID    int
}

const (
	systemRunDir   = "/run/noonmark"
	systemStateDir = "/var/lib/noonmark"
	ownName        = "noonmark"
)

// RunDir is where the status is published: flag (--run-dir) if given, else
// $RUNTIME_DIRECTORY (systemd.exec(5)), else /run/noonmark for root, else
// $XDG_RUNTIME_DIR/noonmark.
func (e Environment) RunDir(flag string) (string, error) {
	if flag != "" {
		return filepath.Abs(flag)
	}
	if d := first(e.Getenv("RUNTIME_DIRECTORY")); d != "" {
		return d, nil
	}
	if e.UID == 0 {
		return systemRunDir, nil
	}
	if d := e.ownRunDir(); d != "" {
		return d, nil
	}
	return "", errors.New("config: no directory in RAM to publish in: " +
		"$XDG_RUNTIME_DIR is not set; name one with --run-dir")
}

// StateDir is where what was learned is kept: flag (--state-dir) if given, else
// $STATE_DIRECTORY, else /var/lib/noonmark for root, else
// $XDG_STATE_HOME/noonmark, else ~/.local/state/noonmark.
func (e Environment) StateDir(flag string) (string, error) {
	if flag != "" {
		return filepath.Abs(flag)
	}
	if d := first(e.Getenv("STATE_DIRECTORY")); d != "" {
		return d, nil
	}
	if e.UID == 0 {
		return systemStateDir, nil
	}
	if d := e.Getenv("XDG_STATE_HOME"); filepath.IsAbs(d) {
		return filepath.Join(d, ownName), nil
	}
	if d := e.Getenv("HOME"); filepath.IsAbs(d) {
		return filepath.Join(d, ".local/state", ownName), nil
	}
	return "", errors.New("config: no directory to keep what is learned in: " +
		"neither $XDG_STATE_HOME nor $HOME is set; name one with --state-dir")
}

// ReadDirs is where readers look for the status, in this order: in flag alone if
// given, else in the system's run directory and then in the user's own.
func (e Environment) ReadDirs(flag string) []string {
	if flag != "" {
		return []string{flag}
	}
	dirs := []string{systemRunDir}
	if d := e.ownRunDir(); d != "" {
		dirs = append(dirs, d)
	}
	return dirs
}

// StartCommand is what starts the service on this computer: the service manager where the
// package's unit is installed, else the program itself. A unit that is masked, a link to
// /dev/null, is not installed. Folders: systemd.unit(5), "System Unit Search Path".
func (e Environment) StartCommand() string {
	dirs := "/etc/systemd/system:/run/systemd/system:/usr/local/lib/systemd/system:/usr/lib/systemd/system:/lib/systemd/system"
	if d := e.Getenv("SYSTEMD_UNIT_PATH"); d != "" {
		dirs = d
	}
	for dir := range strings.SplitSeq(dirs, ":") {
		if info, err := os.Stat(filepath.Join(dir, "noonmark.service")); err == nil {
			if info.Mode().IsRegular() {
				return "sudo systemctl start noonmark"
			}
			break // the first that is found counts
		}
	}
	return "noonmark run"
}

// DemoDir is where noonmark demo publishes, for the same user's commands with --demo: a
// directory that no service uses.
func (e Environment) DemoDir() string {
	if d := e.Getenv("XDG_RUNTIME_DIR"); filepath.IsAbs(d) {
		return filepath.Join(d, ownName+"-demo")
	}
	return filepath.Join(os.TempDir(), fmt.Sprintf("%s-demo-%d", ownName, e.UID))
}

// ownRunDir is the user's own, or "". A relative path is to be ignored (XDG Base
// Directory Specification 0.8).
func (e Environment) ownRunDir() string {
	if d := e.Getenv("XDG_RUNTIME_DIR"); filepath.IsAbs(d) {
		return filepath.Join(d, ownName)
	}
	return ""
}

// first is the first absolute path of a list that systemd joined with colons.
func first(list string) string {
	d, _, _ := strings.Cut(list, ":")
	if !filepath.IsAbs(d) {
		return ""
	}
	return d
}
