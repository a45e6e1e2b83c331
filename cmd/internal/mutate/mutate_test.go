package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A package whose tests look at one of two functions: changes of the other survive.
func TestTellsBitingTestsFromOthers(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"go.mod":    "module example\n\ngo 1.22\n",
		"a.go":      "package a\n\nfunc less(a, b int) bool {\n\treturn a < b\n}\n\nfunc unseen(a, b int) bool {\n\treturn a > b\n}\n",
		"a_test.go": "package a\n\nimport \"testing\"\n\nfunc TestLess(t *testing.T) {\n\tif less(1, 1) || !less(1, 2) {\n\t\tt.Fatal()\n\t}\n\tunseen(1, 2)\n}\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	before, _ := os.ReadFile(filepath.Join(dir, "a.go"))
	var out strings.Builder
	if err := run(t.Context(), []string{"--limit", "10m", dir}, &out); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "1 of 2 changes noticed, 50 %") || !strings.Contains(out.String(), "a.go:8: > became >= in a > b") {
		t.Errorf("%s", &out)
	}
	if after, _ := os.ReadFile(filepath.Join(dir, "a.go")); string(after) != string(before) {
		t.Error("the tree was written")
	}
}

func TestWhatIsChanged(t *testing.T) {
	src := "package a\n\nfunc f(a int) int {\n\tif a == 1 && true {\n\t\ta = 7\n\t}\n\tg()\n\treturn a\n}\n"
	lines, err := inFile("a.go", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, l := range lines {
		for _, m := range l {
			all = append(all, src[:m.from]+m.text+src[m.to:])
		}
	}
	for _, want := range []string{"a != 1 && true", "a == 1 || true", "!(a == 1 && true)", "a == 2 && true", "a = 8", "{\n\t\t\n\t}", "\t\n\treturn a"} {
		found := false
		for _, s := range all {
			found = found || strings.Contains(s, want)
		}
		if !found {
			t.Errorf("no change gives %q", want)
		}
	}
	if len(lines) != 3 {
		t.Errorf("%d lines can be changed, want 3", len(lines))
	}
}
