package port

import (
	"os"
	"path/filepath"
	"testing"
)

func TestLineBaud(t *testing.T) {
	dir := t.TempDir()
	acm, uart := filepath.Join(dir, "ttyACM0"), filepath.Join(dir, "ttyS0")
	for _, p := range []string{acm, uart} {
		if err := os.WriteFile(p, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	byID := filepath.Join(dir, "usb-receiver")
	if err := os.Symlink(acm, byID); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]int{acm: 0, byID: 0, uart: 4800, filepath.Join(dir, "absent"): 4800} {
		if got := LineBaud(path, 4800); got != want {
			t.Errorf("%s: %d bit/s, want %d", path, got, want)
		}
	}
}

func TestRelayed(t *testing.T) {
	for device, want := range map[string]bool{"": false, "auto": false, "/dev/ttyS0": false, "tcp": false, "tcp://h:1": true, "udp://:10110": true} {
		if got := Relayed(device); got != want {
			t.Errorf("%q: %v", device, got)
		}
	}
}
