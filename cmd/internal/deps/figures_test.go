package deps

import (
	"fmt"
	"go/ast"
	"go/token"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Where the judge's figures stand.
var judges = []string{"clockcheck/bank", "clockcheck/banked", "clockcheck/estimate", "clockcheck/thermal", "clockcheck/explain", "clockcheck/source/*"}

// grounds are what a figure may stand on: that somebody else says or measured it, a formula that
// it follows from, or the word that says that it does not.
var grounds = regexp.MustCompile(`assumption|from memory|no source|measured|captures|data sheet|by definition|tzdata|kernel/|RFC \d|IS-GPS|NXP|USB 2|I²C|` +
	`Sims|Piepho|Mills|Hornaday|van Baak|Am\. J\. Phys|package \w+|[=·√]|\d/\d|ln \d|σ of a|half of|third of|quarter of`)

// plain floating literals are units and halves; all others in a function's body have a name.
var plain = []string{"0.5", "1e3", "1e6", "1e9", "1e-3", "1e-6", "1e-9"}

func judging(dir string) bool {
	return slices.ContainsFunc(judges, func(p string) bool { ok, _ := path.Match(p, dir); return ok })
}

// numbers are the numbers in n of these kinds, but for 0 and 1.
func numbers(n ast.Node, kinds ...token.Token) (all []string) {
	ast.Inspect(n, func(n ast.Node) bool {
		if l, ok := n.(*ast.BasicLit); ok && slices.Contains(kinds, l.Kind) && strings.Trim(l.Value, "0.") != "" && l.Value != "1" && l.Value != "1.0" {
			all = append(all, l.Value)
		}
		return true
	})
	return all
}

// figures is the rule that each figure of the judge says, in the comment of its line or, where it
// has none, of its group, where it is from; and that none stands in a function without a name.
func figures(s source) (faults []string) {
	if !judging(s.dir) || s.test() {
		return nil
	}
	for _, d := range s.file.Decls {
		switch d := d.(type) {
		case *ast.GenDecl:
			for _, spec := range d.Specs {
				v, ok := spec.(*ast.ValueSpec)
				if !ok || len(v.Values) == 0 || !slices.ContainsFunc(v.Values, func(e ast.Expr) bool { return len(numbers(e, token.INT, token.FLOAT)) > 0 }) {
					continue
				}
				said := v.Doc.Text() + v.Comment.Text()
				if said == "" || v.Doc == nil {
					said += d.Doc.Text()
				}
				if !grounds.MatchString(said) {
					faults = append(faults, fmt.Sprintf("%s: no source, no formula and not called an assumption", v.Names[0].Name))
				}
			}
		case *ast.FuncDecl:
			if strings.HasSuffix(s.dir, "explain") { // numbers as they are read, no thresholds
				continue
			}
			for _, l := range numbers(d, token.FLOAT) {
				if !slices.Contains(plain, l) {
					faults = append(faults, fmt.Sprintf("%s: %s has no name", d.Name.Name, l))
				}
			}
		}
	}
	return faults
}

func TestFiguresHaveGrounds(t *testing.T) { held(t, figures) }

// TestGroundsBite holds made-up figures against the rule.
func TestGroundsBite(t *testing.T) {
	for _, tt := range []struct {
		body string
		want []string
	}{
		{"const far = 0.3", []string{"far: no source, no formula and not called an assumption"}},
		{"// far is far, s.\nconst far = 0.3", []string{"far: no source, no formula and not called an assumption"}},
		{"const (\n// near, s (assumption)\nnear = 0.1\nfar = 0.3 // s\n)", []string{"far: no source, no formula and not called an assumption"}},
		{"// Both are assumptions: a guess is a guess (assumption).\nconst (\n// far is far\nfar = 0.3\n)", []string{"far: no source, no formula and not called an assumption"}},
		{"var far = []float64{3}", []string{"far: no source, no formula and not called an assumption"}},
		{"func f(x float64) bool { return x > 0.05 }", []string{"f: 0.05 has no name"}},
		{"// far, s (assumption).\nconst far = 0.3", nil},
		{"const far = 0.3 // s: measured by Sims 2016", nil},
		{"// far = 3·floor, s.\nconst far = 3 * floor; const floor = 0", nil},
		{"// Rates by data sheet.\nconst (\nnear = 2e-6\nfar = 5e-6 // s/s\n)", nil},
		{"const (\na = iota\nb\n)", nil},
		{"func f(x float64) float64 { return x * 0.5e0 * 1e9 }", []string{"f: 0.5e0 has no name"}},
		{"func f(x float64) float64 { return x * 0.5 * 1e9 }", nil},
	} {
		if got := figures(parse(t, "clockcheck/bank/x.go", "package x\n"+tt.body)); !slices.Equal(got, tt.want) {
			t.Errorf("%s:\ngot %q, want %q", tt.body, got, tt.want)
		}
	}
	if got := figures(parse(t, "clockcheck/netref/x.go", "package x\nconst far = 0.3")); got != nil {
		t.Errorf("a package that does not judge: %q", got)
	}
}
