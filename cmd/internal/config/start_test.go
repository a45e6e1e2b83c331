package config

import (
	"os"
	"path/filepath"
	"testing"
)

// The first folder that has the unit counts: one that is masked there is not started.
func TestStartCommand(t *testing.T) {
	own, shipped, masked, none := t.TempDir(), t.TempDir(), t.TempDir(), t.TempDir()
	for _, dir := range []string{own, shipped} {
		if err := os.WriteFile(filepath.Join(dir, "noonmark.service"), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("/dev/null", filepath.Join(masked, "noonmark.service")); err != nil {
		t.Fatal(err)
	}
	const packaged, program = "sudo systemctl start noonmark", "noonmark run"
	for _, row := range []struct{ path, want string }{
		{shipped, packaged},
		{none + ":" + shipped, packaged},
		{own + ":" + masked, packaged},
		{masked + ":" + shipped, program},
		{none, program},
	} {
		e := Environment{Getenv: func(name string) string { return map[string]string{"SYSTEMD_UNIT_PATH": row.path}[name] }}
		if got := e.StartCommand(); got != row.want {
			t.Errorf("%s: %q, want %q", row.path, got, row.want)
		}
	}
}
