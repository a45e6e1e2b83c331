package deps

import (
	"go/ast"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// mostWords is the longest sentence that a tired reader takes in at once, in words
// (common practice, no source).
const mostWords = 20

// hard are words that readers stumbled over, in texts that a user meets; "proved" has
// become "confirmed", one term for one thing.
var hard = regexp.MustCompile(`(?i)\b(un)?prov(ed|en|es|e|ing)\b|\bproofs?\b|\banew\b|\bhangs on\b|\bwants (an?|its)\b|\bthemselves\b|\b(is|are) not believed\b|\bhonest and wide\b|\b(is|are) told\b|\btells? nothing\b|\bwhoever\b|\bfor certain\b|\bby itself\b|\bflywheel\b`)

// tools are for developers, who read other words.
var tools = []string{"cmd/stationlab", "cmd/internal/lab", "cmd/internal/baseline", "cmd/internal/mutate", "cmd/internal/rooms", "cmd/internal/deps",
	"cmd/internal/clitest", "status/page/pagetest", "gnss/gnsstest", "clockcheck/air/airtest"}

// word is one, or a number, or an address: dashes and signs that stand alone are none.
var word = regexp.MustCompile(`\S*[\pL\pN…%]\S*`)

// sources are files whose texts name publications, for developers.
var sources = []string{"clockcheck/air/band/mode.go", "clockcheck/bank/prices.go"}

// TestPlainWords: what a user reads is in sentences of at most twenty words, without the
// hard ones: messages, help and manual in the source, the pages, the settings' comments.
func TestPlainWords(t *testing.T) {
	texts := 0
	check := func(where, text string) {
		for _, s := range sentences(text) {
			texts++
			if n := len(word.FindAllString(s, -1)); n > mostWords {
				t.Errorf("%s: %d words: %s", where, n, s)
			}
			if w := hard.FindString(s); w != "" {
				t.Errorf("%s: %q: %s", where, w, s)
			}
		}
	}
	for _, s := range tree(t) {
		if s.test() || slices.Contains(tools, s.dir) || slices.Contains(sources, s.name) {
			continue
		}
		for _, l := range literals(s.file) {
			if strings.Contains(strings.TrimSpace(l), " ") && !strings.HasPrefix(l, "default-src ") {
				check(s.name, l)
			}
		}
	}
	pages, _ := filepath.Glob(filepath.Join(root, "packaging/doc/*.md"))
	for _, name := range append(pages, filepath.Join(root, "README.md")) {
		check(filepath.Base(name), prose(read(t, name)))
	}
	for _, name := range []string{"cmd/internal/config/example.toml", "packaging/deb/noonmark.toml"} {
		check(name, comments(read(t, filepath.Join(root, name))))
	}
	if texts < 1000 {
		t.Errorf("only %d sentences were found", texts)
	}
}

func read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// literals are a file's texts, those put together by + in one piece with … for what is
// filled in.
func literals(f *ast.File) (out []string) {
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec:
			return false
		case *ast.Field: // of the command line: its help
			if n.Tag != nil {
				tag, _ := strconv.Unquote(n.Tag.Value)
				out = append(out, reflect.StructTag(tag).Get("help"))
			}
			return false
		case *ast.BinaryExpr:
			if text, ok := joined(n); ok {
				out = append(out, text)
				return false
			}
		case *ast.BasicLit:
			if text, ok := joined(n); ok {
				out = append(out, text)
			}
		}
		return true
	})
	return out
}

func joined(e ast.Expr) (string, bool) {
	switch e := e.(type) {
	case *ast.BasicLit:
		if e.Kind == token.STRING {
			s, err := strconv.Unquote(e.Value)
			return s, err == nil
		}
	case *ast.BinaryExpr:
		a, okA := joined(e.X)
		b, okB := joined(e.Y)
		if e.Op == token.ADD && (okA || okB) {
			if !okA {
				a = "…"
			}
			if !okB {
				b = "…"
			}
			return a + b, true
		}
	}
	return "", false
}

// sentenceEnd is where a sentence ends: not at the point of a number or of an address.
var sentenceEnd = regexp.MustCompile(`[.!?]["”)*_]*\s+|\n\s*\n|\n\s*[-*0-9]+[.]? |\n  `)

// sentences cuts text; lines of a table, of code or of a list of names are none.
func sentences(text string) (out []string) {
	for _, s := range sentenceEnd.Split(text, -1) {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// prose is Markdown without code, tables and headings.
func prose(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		switch {
		case strings.HasPrefix(line, "    "), strings.HasPrefix(line, "|"), strings.HasPrefix(line, "#"), strings.HasPrefix(line, "!["), strings.HasPrefix(line, "<!--"):
			b.WriteString("\n\n")
		default:
			b.WriteString(line)
		}
	}
	return b.String()
}

// comments are those of a settings file; a block is a paragraph.
func comments(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		if _, c, ok := strings.Cut(line, "# "); ok {
			b.WriteString(c)
		} else {
			b.WriteString("\n\n")
		}
	}
	return b.String()
}
