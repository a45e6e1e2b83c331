package deps

import (
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const root = "../../.." // the module's folder

// source is one file of ours.
type source struct {
	name string // path from the module's folder, with slashes
	dir  string // its folder: "gnss/port"
	set  *token.FileSet
	file *ast.File
}

func (s source) test() bool  { return strings.HasSuffix(s.name, "_test.go") }
func (s source) linux() bool { return strings.HasSuffix(s.name, "_linux.go") }

func parse(t *testing.T, name string, text any) source {
	t.Helper()
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, filepath.Join(root, name), text, parser.SkipObjectResolution|parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	return source{name, path.Dir(name), set, f}
}

// tree reads every Go file of ours. It fails if one of the packages that the
// rules speak of is not there: rules about nothing would hold for ever.
func tree(t *testing.T) (all []source) {
	t.Helper()
	dirs := make(map[string]bool)
	err := fs.WalkDir(os.DirFS(root), ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && name != "." && (d.Name()[0] == '.' || d.Name() == "testdata"):
			return fs.SkipDir
		case d.IsDir() || path.Ext(name) != ".go":
			return nil
		}
		s := parse(t, name, nil)
		all, dirs[s.dir] = append(all, s), true
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, dir := range slices.Concat(core, []string{"gnss/port", "cmd/noonmark"}) {
		if !dirs[dir] {
			t.Fatalf("no Go file in %s: mend the rules here", dir)
		}
	}
	return all
}

// held fails the test for every breach of rule in the tree.
func held(t *testing.T, rule func(source) []string) {
	t.Helper()
	for _, s := range tree(t) {
		for _, fault := range rule(s) {
			t.Errorf("%s %s", s.name, fault)
		}
	}
}

func TestStar(t *testing.T)         { held(t, star) }
func TestNoClock(t *testing.T)      { held(t, clocks) }
func TestNoGoroutine(t *testing.T)  { held(t, machine) }
func TestNoEnumerator(t *testing.T) { held(t, enumerator) }

// TestBuildAgrees asks the go command for what is built here: every package of
// ours lies in a folder that was read, and what it reaches through others keeps
// the star too.
func TestBuildAgrees(t *testing.T) {
	dirs := make(map[string]bool)
	for _, s := range tree(t) {
		dirs[s.dir] = true
	}
	cmd := exec.Command("go", "list", "-e", "-deps", "-json=ImportPath,Deps", "./...")
	cmd.Dir = root
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for d := json.NewDecoder(strings.NewReader(string(out))); ; n++ {
		var p struct {
			ImportPath string
			Deps       []string
		}
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		dir, ours := strings.CutPrefix(p.ImportPath, "noonmark/")
		if !ours {
			continue
		}
		if !dirs[dir] {
			t.Errorf("%s is built, but its folder was not read", p.ImportPath)
		}
		for _, dep := range p.Deps {
			if strings.HasPrefix(dep, "noonmark/cmd/") && !strings.HasPrefix(dir, "cmd/") {
				t.Errorf("%s reaches %s", p.ImportPath, dep)
			}
		}
	}
	if n < 20 {
		t.Errorf("the go command listed %d packages, that cannot be all", n)
	}
}
