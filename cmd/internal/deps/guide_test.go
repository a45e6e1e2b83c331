package deps

import (
	"go/ast"
	"os"
	"path/filepath"
	"regexp"
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
	folders := regexp.MustCompile("`((?:gnss|rtc|clockcheck|cmd|testdata|packaging)/[a-zA-Z0-9_./]+)`").FindAllSubmatch(guide, -1)
	if len(folders) < 10 {
		t.Errorf("the guide names %d paths; its form has changed, mend this test", len(folders))
	}
	for _, m := range folders {
		if _, err := os.Stat(filepath.Join(root, string(m[1]))); err != nil {
			t.Errorf("DEVELOPERS.md: %v", err)
		}
	}
}
