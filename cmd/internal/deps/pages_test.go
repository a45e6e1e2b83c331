package deps

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// known lists the tests of the tree and the cases of the virtual machine.
func known(t *testing.T) (tests, cases map[string]bool) {
	t.Helper()
	tests, cases = map[string]bool{}, map[string]bool{}
	for _, s := range tree(t) {
		if !s.test() {
			continue
		}
		b, err := os.ReadFile(filepath.Join(root, s.name))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`(?m)^func (Test\w+)\(`).FindAllStringSubmatch(string(b), -1) {
			tests[m[1]] = true
		}
	}
	scripts, _ := filepath.Glob(filepath.Join(root, "packaging/vm/*.py"))
	for _, name := range scripts {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`(?m)^@case\ndef (\w+)\(`).FindAllStringSubmatch(string(b), -1) {
			cases[strings.ReplaceAll(m[1], "_", "-")] = true
		}
	}
	return tests, cases
}

// results are the lines of the virtual machine's table: a case, its result, length and date.
func results(t *testing.T) map[string][]string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(root, "packaging/vm/results.md"))
	if err != nil {
		t.Fatal(err)
	}
	lines := map[string][]string{}
	for line := range strings.Lines(string(b)) {
		if cells := strings.Split(line, " | "); len(cells) == 7 {
			lines[strings.TrimPrefix(cells[0], "| ")] = cells
		}
	}
	return lines
}

// TestAskedOfTheService: each test and case is there that the table of what is asked of the
// installed service names; each case was right when it was played last, and the table says when.
func TestAskedOfTheService(t *testing.T) {
	tests, cases := known(t)
	b, err := os.ReadFile(filepath.Join(root, "packaging/vm/README.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, table, _ := strings.Cut(string(b), "| asked | shown by |")
	table, _, _ = strings.Cut(table, "\n\n")
	names := regexp.MustCompile("`(Test\\w+)`").FindAllStringSubmatch(table, -1)
	for _, n := range names {
		if !tests[n[1]] {
			t.Errorf("%q is no test", n[1])
		}
	}
	played, last := regexp.MustCompile("vm (`[a-z-]+`(?:, `[a-z-]+`)*)").FindAllStringSubmatch(table, -1), results(t)
	for _, list := range played {
		for _, n := range strings.Split(list[1], ", ") {
			n = strings.Trim(n, "`")
			if !cases[n] {
				t.Errorf("%s is no case", n)
			}
			if row := last[n]; row == nil || !strings.HasPrefix(row[2], "ok: ") {
				t.Errorf("%s was not right when it was played last: %q", n, row)
			} else if when := n + " " + row[5] + ", " + row[3]; !strings.Contains(table, when) {
				t.Errorf("the table does not say %q", when)
			}
		}
	}
	if len(names) < 15 || len(played) < 6 {
		t.Errorf("%d tests and %d places with cases: the table is not read", len(names), len(played))
	}
}

// TestFaultPage: each test, scenario and case of the virtual machine that the tables of
// faults and threats name is there, and the first has the number of faults it must.
func TestFaultPage(t *testing.T) {
	tests, cases := known(t)
	played := 0
	for page, least := range map[string]int{"faults.md": 40, "threats.md": 15} {
		b, err := os.ReadFile(filepath.Join(root, "packaging/doc", page))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile("`((?:\\.ci|packaging|testdata)/[^` ]+)").FindAllStringSubmatch(string(b), -1) {
			if _, err := os.Stat(filepath.Join(root, m[1])); err != nil {
				t.Errorf("%s speaks of %s: %v", page, m[1], err)
			}
		}
		rows := 0
		for line := range strings.Lines(string(b)) {
			cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
			if !strings.HasPrefix(line, "| ") || len(cells) < 4 || strings.HasPrefix(cells[0], " ---") || strings.Contains(line, "| held by |") {
				continue
			}
			rows++
			names := regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(cells[len(cells)-1], -1)
			if len(names) == 0 {
				t.Errorf("%s: no test holds %q", page, cells[0])
			}
			for _, n := range names {
				_, scenario := os.Stat(filepath.Join(root, "testdata/scenarios", n[1]+".scenario"))
				_, file := os.Stat(filepath.Join(root, n[1]))
				if cases[n[1]] {
					played++
				}
				if !tests[n[1]] && !cases[n[1]] && scenario != nil && (file != nil || !strings.HasPrefix(n[1], ".ci/")) {
					t.Errorf("%s: %q is no test, scenario or case", page, n[1])
				}
			}
		}
		if rows < least {
			t.Errorf("%s: %d rows, want at least %d", page, rows, least)
		}
	}
	t.Logf("%d times a case of the virtual machine holds a fault", played)
}
