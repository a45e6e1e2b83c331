package deps

import (
	"go/ast"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var lawRow = regexp.MustCompile("(?m)^\\| `([^ `]+) (Fuzz[A-Za-z0-9]+)` \\| (.{15,}) \\|$")

// TestEachFuzzTargetHasItsLaw: DEVELOPERS.md says of each fuzz target what it holds besides
// "no crash", and names none that is not there.
func TestEachFuzzTargetHasItsLaw(t *testing.T) {
	guide, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	said := map[string]bool{}
	for _, row := range lawRow.FindAllStringSubmatch(string(guide), -1) {
		said[row[1]+" "+row[2]] = true
	}
	found := 0
	for _, s := range tree(t) {
		if !s.test() {
			continue
		}
		for _, d := range s.file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok || f.Recv != nil || !strings.HasPrefix(f.Name.Name, "Fuzz") {
				continue
			}
			name := s.dir + " " + f.Name.Name
			found++
			if !said[name] {
				t.Errorf("DEVELOPERS.md: no law of %s", name)
			}
			delete(said, name)
		}
	}
	if found == 0 {
		t.Error("no fuzz target found")
	}
	for name := range said {
		t.Errorf("DEVELOPERS.md: %s is no fuzz target", name)
	}
}
