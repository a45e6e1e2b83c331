package logging

import (
	"bytes"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

func TestPriorities(t *testing.T) {
	for _, asJSON := range []bool{false, true} {
		var out bytes.Buffer
		log := With(&out, Options{Debug: true, JSON: asJSON, Priority: true}).With("a", 1).WithGroup("g")
		log.Debug("d")
		log.Info("i")
		log.Warn("w", "text", "two\nlines \u009b\u202e")
		log.Error("e")
		got := strings.Split(strings.TrimSpace(out.String()), "\n")
		for i, want := range []string{"<7>", "<6>", "<4>", "<3>"} {
			if len(got) != 4 || !strings.HasPrefix(got[i], want) {
				t.Fatalf("JSON %v, line %d: %q, want %s…", asJSON, i, got, want)
			}
		}
		if strings.ContainsAny(out.String(), "\u009b\u202e") {
			t.Errorf("JSON %v: %q", asJSON, out.String())
		}
	}
	var out bytes.Buffer
	With(&out, Options{}).Log(t.Context(), slog.LevelWarn, "w")
	if strings.HasPrefix(out.String(), "<") {
		t.Errorf("priorities that nobody asked for: %q", out.String())
	}
}

func TestReads(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "f"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var st syscall.Stat_t
	if err := syscall.Fstat(int(f.Fd()), &st); err != nil {
		t.Fatal(err)
	}
	for stream, want := range map[string]bool{
		"": false, "8:1": false, fmt.Sprintf("%d:%d", st.Dev, st.Ino): true,
	} {
		if got := Reads(func(string) string { return stream }, f); got != want {
			t.Errorf("%q: %v", stream, got)
		}
	}
}
