package port

import (
	"os"
	"regexp"
	"testing"
)

// The package's udev rules give the name /dev/noonmark-receiver to the very devices
// that are opened unasked, and start nothing for any.
func TestUdevRules(t *testing.T) {
	text, err := os.ReadFile("../../packaging/udev/60-noonmark.rules")
	if err != nil {
		t.Fatal(err)
	}
	rule := regexp.MustCompile(`(?m)^SUBSYSTEM=="tty", SUBSYSTEMS=="usb", ATTRS\{idVendor\}=="([0-9a-f]{4})", ATTRS\{idProduct\}=="([0-9a-f]{4})", SYMLINK\+="noonmark-receiver"$`)
	got := map[string]bool{}
	for _, m := range rule.FindAllSubmatch(text, -1) {
		got[string(m[1])+":"+string(m[2])] = true
	}
	for id := range receivers {
		if !got[id] {
			t.Errorf("no rule for %s", id)
		}
	}
	for id := range got {
		if !receivers[id] {
			t.Errorf("a rule for %s, which is not opened unasked", id)
		}
	}
	if bad := regexp.MustCompile(`RUN|PROGRAM|IMPORT|SYSTEMD_WANTS`).Find(text); bad != nil {
		t.Errorf("a rule starts something: %s", bad)
	}
	others := regexp.MustCompile(`(?m)^SUBSYSTEM=="(?:rtc|pps|gnss)", GROUP="noonmark", MODE="06[46]0"$|^#.*$|^$`)
	if rest := others.ReplaceAll(rule.ReplaceAll(text, nil), nil); regexp.MustCompile(`\S`).Match(rest) {
		t.Errorf("rules nobody checks:\n%s", rest)
	}
}
