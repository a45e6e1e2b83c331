package manual

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	codes "noonmark/cmd/internal/exit"
	"noonmark/status"
)

func pagesOf(t *testing.T) map[string]string {
	t.Helper()
	pages, err := Pages(Release{"1.2.3", time.Date(2024, 2, 3, 4, 5, 6, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	return pages
}

// terms are the .TP terms of a page, without their type.
func terms(page string) map[string]string {
	marks := regexp.MustCompile(`\\f[BIR]|\\&`)
	out := map[string]string{}
	lines := strings.Split(page, "\n")
	for i, l := range lines {
		if l == ".TP" && i+2 < len(lines) {
			out[strings.NewReplacer(`\-`, "-", `\(ti`, "~").Replace(marks.ReplaceAllString(lines[i+1], ""))] = lines[i+2]
		}
	}
	return out
}

// Each command has a page, with each of its flags and arguments, and with the
// meaning of each exit status.
func TestEachCommand(t *testing.T) {
	pages := pagesOf(t)
	app, err := cli.Grammar()
	if err != nil {
		t.Fatal(err)
	}
	commands := terms(pages["noonmark.1"])
	if !strings.Contains(pages["noonmark.1"], ".B noonmark \\-\\-version\n") {
		t.Error("the program's page has no --version")
	}
	for _, n := range app.Children {
		page := pages["noonmark-"+n.Name+".1"]
		if page == "" || commands[n.Name] == "" {
			t.Errorf("%s: no page, or not on that of the program", n.Name)
			continue
		}
		got := terms(page)
		for _, group := range n.AllFlags(true) {
			for _, f := range group {
				found := false
				for term := range got {
					found = found || strings.Contains(strings.ReplaceAll(term, "[no-]", "")+"=", "--"+f.Name+"=")
				}
				if !found {
					t.Errorf("%s: no --%s", n.Name, f.Name)
				}
			}
		}
		for _, a := range n.Positional {
			if got[a.Name] == "" {
				t.Errorf("%s: no argument %s", n.Name, a.Name)
			}
		}
		if len(codes.Table[n.Name]) == 0 || got["0"] == "" || got["2"] == "" {
			t.Errorf("%s: write what its exit statuses mean into exit.Table", n.Name)
		}
		delete(pages, "noonmark-"+n.Name+".1")
	}
	if len(pages) != 3 {
		t.Errorf("pages of nothing: %d", len(pages)-3)
	}
	for name := range codes.Table {
		if commands[name] == "" {
			t.Errorf("exit statuses of %s, which is no command", name)
		}
	}
}

func TestEachKeyOfTheSettings(t *testing.T) {
	page := pagesOf(t)["noonmark.toml.5"]
	keys := regexp.MustCompile(`(?m)^([a-z_]+) = (.*)$`).FindAllStringSubmatch(config.Example(), -1)
	term := regexp.MustCompile(`(?m)^\.T[PQ]\n\\fB([a-z_]+)\\fR = `).FindAllStringSubmatch(page, -1)
	if len(keys) < 15 || len(term) != len(keys) {
		t.Fatalf("%d keys, %d on the page", len(keys), len(term))
	}
	for i, k := range keys {
		if term[i][1] != k[1] {
			t.Errorf("%s where %s should be", term[i][1], k[1])
		}
	}
	for _, g := range groupsOf(config.Example()) {
		if g.table == "" && len(strings.Join(g.said, " ")) < 10 {
			t.Errorf("nothing is said of %v", g.keys)
		}
	}
}

// Each member of the status is on its page, with what it means.
func TestEachMemberOfTheStatus(t *testing.T) {
	fields, err := fieldsOf(status.Schema())
	if err != nil {
		t.Fatal(err)
	}
	got := terms(pagesOf(t)["noonmark-status.5"])
	paths := map[string]bool{}
	for _, f := range fields {
		paths[f.path] = true
		if f.means == "" || f.kind == "" {
			t.Errorf("%s: the schema does not say what it means (%q)", f.path, f.kind)
		}
		if got[f.path+" ("+f.kind+")"] == "" && got[f.path+" ("+plain(f.kind)+")"] == "" {
			t.Errorf("%s is not on the page", f.path)
		}
	}
	for _, p := range []string{"live", "clock.guard_s", "clock.budget[].because", "modes[].verdict", "position.locator", "references[].battery", "receiver.skipped"} {
		if !paths[p] {
			t.Errorf("no %s among %d", p, len(fields))
		}
	}
}

// The pages are right in the eyes of the two programs that show such pages.
func TestPagesAreClean(t *testing.T) {
	dir := t.TempDir()
	for name, text := range pagesOf(t) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	files, _ := filepath.Glob(filepath.Join(dir, "*"))
	for _, check := range [][]string{{"mandoc", "-T", "lint", "-W", "warning"}, {"man", "--warnings", "-E", "UTF-8", "-Tutf8", "-l"}} {
		if _, err := exec.LookPath(check[0]); err != nil {
			t.Logf("not looked at by %s: %v", check[0], err)
			continue
		}
		var said strings.Builder
		c := exec.Command(check[0], append(check[1:], files...)...)
		c.Env, c.Stderr = append(os.Environ(), "LC_ALL=C.UTF-8"), &said
		out, err := c.Output()
		if check[0] == "mandoc" {
			said.Write(out)
		}
		if err != nil || said.Len() > 0 {
			t.Errorf("%s: %v\n%s", check[0], err, said.String())
		}
	}
}

// What begins like a request, or like a flag, is shown as it stands.
func TestEscapes(t *testing.T) {
	for in, want := range map[string]string{
		".TH":         `\&.TH`,
		"'quoted'":    `\&'quoted'`,
		`a\b`:         `a\eb`,
		"use --json":  `use \-\-json`,
		"at -20.13":   `at \-20.13`,
		"well-known":  "well-known",
		"(-1 to 1)":   `(\-1 to 1)`,
		"transmit/re": "transmit/re",
	} {
		if got := plain(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
	if got, want := literal("~/.zfunc/_x 'a-b'"), `\(ti/.zfunc/_x \(aqa\-b\(aq`; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
