package doc

import (
	"os"
	"strings"
	"testing"
)

// The manual's first page is the README, with links that lead from here.
func TestFirstPage(t *testing.T) {
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	want := strings.NewReplacer("](packaging/doc/", "](", "[DEVELOPERS.md](DEVELOPERS.md)", "`DEVELOPERS.md`").Replace(string(b))
	if os.Getenv("NOONMARK_MAKE_DOC") != "" {
		if err := os.WriteFile("0-start.md", []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("0-start.md")
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Error("0-start.md is not the README: packaging/doc/make")
	}
}
