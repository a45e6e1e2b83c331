package deps

import (
	"go/ast"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestGuideNamesWhatExists holds DEVELOPERS.md to the tree: each test and fuzz
// target it names is there, and so is each folder.
func TestGuideNamesWhatExists(t *testing.T) {
	guide, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	written := make(map[string]bool)
	for _, s := range tree(t) {
		for _, d := range s.file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && s.test() {
				written[f.Name.Name] = true
			}
		}
	}
	named := regexp.MustCompile("`((?:Test|Fuzz)[A-Z][A-Za-z0-9]*)`").FindAllSubmatch(guide, -1)
	if len(named) < 15 {
		t.Errorf("the guide names %d tests; its form has changed, mend this test", len(named))
	}
	for _, m := range named {
		if name := string(m[1]); !written[name] {
			t.Errorf("DEVELOPERS.md names %s, which is nowhere", name)
		}
	}
	folders := regexp.MustCompile("`((?:gnss|rtc|clockcheck|grid|status|cmd|testdata|packaging|\\.ci)/[a-zA-Z0-9_./-]+)`").FindAllSubmatch(guide, -1)
	if len(folders) < 10 {
		t.Errorf("the guide names %d paths; its form has changed, mend this test", len(folders))
	}
	for _, m := range folders {
		if _, err := os.Stat(filepath.Join(root, string(m[1]))); err != nil {
			t.Errorf("DEVELOPERS.md: %v", err)
		}
	}
}

// TestGuideNamesEachLibrary: what go.mod requires directly has its line, with why.
func TestGuideNamesEachLibrary(t *testing.T) {
	guide, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, section, ok := strings.Cut(string(guide), "\n## Libraries\n")
	if !ok {
		t.Fatal("DEVELOPERS.md has no section Libraries")
	}
	section, _, _ = strings.Cut(section, "\n## ")
	mod, err := os.ReadFile(filepath.Join(root, "go.mod"))
	if err != nil {
		t.Fatal(err)
	}
	direct := 0
	for _, line := range strings.Split(string(mod), "\n") {
		f := strings.Fields(line)
		if len(f) != 2 || !strings.HasPrefix(f[1], "v") || strings.HasPrefix(f[0], "go") && len(f[0]) == 2 {
			continue // a requirement with "// indirect" has more words
		}
		direct++
		name := f[0]
		if base := path.Base(name); regexp.MustCompile(`^v[0-9]+$`).MatchString(base) {
			name = path.Dir(name)
		}
		if !strings.Contains(section, path.Base(name)) {
			t.Errorf("DEVELOPERS.md, Libraries: no line says why go.mod requires %s", f[0])
		}
	}
	if direct < 10 {
		t.Errorf("%d requirements found; the form of go.mod has changed, mend this test", direct)
	}
}
