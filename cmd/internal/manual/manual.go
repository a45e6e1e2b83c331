// Package manual makes the manual pages: one of the program, one of each command, one
// of the settings, one of the status. In: the grammar of the command line, the example
// of the settings, the schema of the status, which are what the program itself goes by;
// so no page can say what is not so. Out: text in the man(7) language.
package manual

import (
	"fmt"
	"strings"
	"time"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/status"
)

// Release is what stands at the foot of each page.
type Release struct {
	Version string
	Date    time.Time
}

// Pages returns all pages by file name, such as "noonmark-run.1".
func Pages(r Release) (map[string]string, error) {
	app, err := cli.Grammar()
	if err != nil {
		return nil, fmt.Errorf("manual: %w", err)
	}
	fields, err := fieldsOf(status.Schema())
	if err != nil {
		return nil, fmt.Errorf("manual: schema of the status: %w", err)
	}
	pages := map[string]string{
		"noonmark.1":        program(r, app),
		"noonmark.toml.5":   settings(r, config.Example()),
		"noonmark-status.5": published(r, fields),
	}
	for _, n := range app.Children {
		if !n.Hidden {
			pages["noonmark-"+n.Name+".1"] = command(r, n)
		}
	}
	return pages, nil
}

// A page grows from top to bottom.
type page struct {
	strings.Builder
	fresh bool // a section begins, which is a paragraph, too
}

// begin writes the head. About is what stands behind the name, one line.
func begin(r Release, name, section, about string) *page {
	p := new(page)
	fmt.Fprintf(p, ".TH %s %s %s %s %s\n", quoted(strings.ToUpper(name)), section, r.Date.UTC().Format("2006-01-02"),
		quoted("noonmark "+r.Version), quoted("noonmark"))
	p.section("NAME")
	fmt.Fprintf(p, "%s \\- %s\n", plain(name), plain(strings.TrimRight(about, ".")))
	return p
}

func (p *page) section(title string) {
	fmt.Fprintf(p, ".SH %s\n", quoted(title))
	p.fresh = true
}

// paragraph writes running text, a sentence a line.
func (p *page) paragraph(text string) {
	if !p.fresh {
		p.WriteString(".PP\n")
	}
	p.fresh = false
	p.text(text)
}

func (p *page) text(text string) {
	for _, s := range strings.SplitAfter(strings.Join(strings.Fields(text), " "), ". ") {
		if s = strings.TrimSpace(s); s != "" {
			p.WriteString(plain(s) + "\n")
		}
	}
}

// item writes a term, which is set as it stands, and its meaning.
func (p *page) item(term, meaning string) {
	p.fresh = false
	fmt.Fprintf(p, ".TP\n%s\n", term)
	p.text(meaning)
}

// code writes lines as they are.
func (p *page) code(lines []string) {
	p.WriteString(".PP\n.RS 4\n.EX\n")
	for _, l := range lines {
		p.WriteString(literal(l) + "\n")
	}
	p.WriteString(".EE\n.RE\n")
}

func (p *page) see(pages ...string) {
	p.section("SEE ALSO")
	for i, s := range pages {
		name, section, _ := strings.Cut(s, "(")
		comma := ","
		if i == len(pages)-1 {
			comma = ""
		}
		fmt.Fprintf(p, ".BR %s %s\n", literal(name), quoted("("+section+comma))
	}
}

// Escapes of man(7). A line must not begin with the control character.

func guard(s string) string {
	if strings.HasPrefix(s, ".") || strings.HasPrefix(s, "'") {
		return `\&` + s
	}
	return s
}

// plain is running text: only what begins like a flag, or is a number below zero,
// keeps its minus.
func plain(s string) string {
	s = strings.ReplaceAll(s, `\`, `\e`)
	s = strings.ReplaceAll(s, "--", `\-\-`)
	for _, before := range []string{" ", "(", "=", ",", `"`} {
		s = strings.ReplaceAll(s, before+"-", before+`\-`)
	}
	return guard(s)
}

// literal is what somebody types.
func literal(s string) string {
	return guard(strings.NewReplacer(`\`, `\e`, "-", `\-`, "'", `\(aq`, "`", `\(ga`, "^", `\(ha`, "~", `\(ti`).Replace(s))
}

func bold(s string) string { return `\fB` + literal(s) + `\fR` }

func italic(s string) string { return `\fI` + literal(s) + `\fR` }

// quoted is one argument of a macro.
func quoted(s string) string { return `"` + strings.ReplaceAll(literal(s), `"`, `\(dq`) + `"` }
