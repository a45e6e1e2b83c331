package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"noonmark/cmd/internal/clitest"
	"noonmark/status"
)

// TestReadmeRecipes runs each recipe of the README with the built program, on a
// status that is fresh, one that is old, and none. None of them may take the old one
// for news.
func TestReadmeRecipes(t *testing.T) {
	t.Parallel()
	if _, err := os.Stat("/run/noonmark/status.json"); err == nil {
		t.Skip("a service runs here; the recipes would ask it")
	}
	b, err := os.ReadFile("../../packaging/doc/6-programs.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(b), "<!-- recipes -->")
	block, _, ok2 := strings.Cut(rest, "<!-- end -->")
	recipes := strings.Split(strings.TrimSpace(block), "\n")
	if !ok || !ok2 || len(recipes) != 3 {
		t.Fatalf("recipes of the README: %q", recipes)
	}
	runtimeDir := t.TempDir()
	pub, err := status.NewPublisher(filepath.Join(runtimeDir, "noonmark"), true)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Dir(clitest.Binary(t)) + ":" + os.Getenv("PATH")
	wants := map[string][3]string{ // fresh, old, none
		"noonmark": {"key up", "", ""},
		"python3":  {"yes 0.01", "cannot tell None", "cannot tell None"},
		"node":     {"yes 0.01", "cannot tell null", "cannot tell null"},
	}
	for _, recipe := range recipes {
		recipe = strings.TrimSpace(recipe)
		program, _, _ := strings.Cut(recipe, " ")
		t.Run(program, func(t *testing.T) {
			want, known := wants[program]
			if !known {
				t.Fatalf("no test for %s", program)
			}
			if _, err := exec.LookPath(program); err != nil && program != "noonmark" {
				t.Skipf("%s is not installed", program)
			}
			for i, name := range []string{"fresh", "old", "none"} {
				s := fresh(t, status.Within)
				if name == "old" {
					s.Written.BoottimeS -= 30
					s.Written.SystemUTC.V -= 30e9
				}
				if err := pub.Publish(s); err != nil {
					t.Fatal(err)
				}
				if name == "none" {
					os.Remove(filepath.Join(pub.Dir(), status.FileName))
				}
				cmd := exec.Command("sh", "-c", recipe)
				cmd.Env = append(os.Environ(), "PATH="+path, "XDG_RUNTIME_DIR="+runtimeDir)
				out, err := cmd.Output()
				if got := strings.TrimSpace(string(out)); got != want[i] {
					t.Errorf("%s status: printed %q, want %q (%v)", name, got, want[i], err)
				}
			}
		})
	}
}
