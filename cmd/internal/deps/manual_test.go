package deps

import (
	"bytes"
	"fmt"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
)

// remarksOf the pages are for tests.
var remarksOf = regexp.MustCompile(`<!-- [^>]*-->`)

// manualPage makes a page of its Markdown.
func manualPage(text []byte) ([]byte, error) {
	title, _, _ := strings.Cut(strings.TrimPrefix(string(text), "# "), "\n")
	var b bytes.Buffer
	fmt.Fprintf(&b, "<!doctype html><html lang=en><meta charset=utf-8><meta name=viewport content=\"width=device-width\"><title>%s</title><link rel=stylesheet href=/manual/look.css>"+
		"<nav><a href=/>The page</a><a href=/manual/>Manual</a></nav><main>\n", html.EscapeString(title))
	md := goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithParserOptions(parser.WithAutoHeadingID()))
	if err := md.Convert(remarksOf.ReplaceAll(text, nil), &b); err != nil {
		return nil, err
	}
	b.WriteString("</main>\n")
	return b.Bytes(), nil
}

// The pages that the program serves are made of the manual's Markdown, before it is built.
func TestManualPages(t *testing.T) {
	dir := filepath.Join("../../..", "packaging/doc")
	pages, err := filepath.Glob(filepath.Join(dir, "*.md"))
	if err != nil || len(pages) < 8 {
		t.Fatalf("%d pages, %v", len(pages), err)
	}
	made := 0
	for _, name := range pages {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		want, err := manualPage(text)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		path := filepath.Join(dir, "html", strings.TrimSuffix(filepath.Base(name), ".md")+".html")
		if os.Getenv("NOONMARK_MAKE_DOC") != "" {
			if err := os.WriteFile(path, want, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is not what %s says (%v): NOONMARK_MAKE_DOC=1 go test -run TestManualPages ./cmd/internal/deps", path, name, err)
		}
		made++
	}
	if all, _ := filepath.Glob(filepath.Join(dir, "html/*.html")); len(all) != made {
		t.Errorf("%d pages of %d", len(all), made)
	}
}
