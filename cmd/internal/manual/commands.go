package manual

import (
	"strconv"
	"strings"

	"github.com/alecthomas/kong"

	codes "noonmark/cmd/internal/exit"
)

// caution stands on the pages of everything that tells a time or a place.
const caution = "Times are for radio operating; no traceability to UTC is claimed. Not for navigation. " +
	"In distress, send your coordinates, not only the locator. Transmit only within your licence, and stay at the controls."

// An exit is a term and what it means.
type exit struct{ code, means string }

// files are where everything lies.
var files = []exit{
	{"/etc/noonmark/noonmark.toml", "The settings, see noonmark.toml(5)."},
	{"/etc/noonmark/noonmark.toml.d", "More settings, read after it in the order of their names."},
	{"/etc/noonmark/mqtt-password", "The broker's password, read by the service manager alone."},
	{"/run/noonmark/status.json", "The status, replaced about once a second, see noonmark-status(5)."},
	{"/run/noonmark/grid", "The locator and a newline, for scripts."},
	{"/var/lib/noonmark", "What the service learned, kept over a power-off."},
	{"/dev/noonmark-receiver", "The receiver, if its USB identity belongs to nothing but satellite receivers."},
}

// program is the page of the program as a whole.
func program(r Release, app *kong.Application) string {
	p := begin(r, "noonmark", "1", "clock and place of an off-grid radio station")
	p.section("SYNOPSIS")
	p.WriteString(".B noonmark\n.I command\n[\\fIflags\\fR] [\\fIarguments\\fR]\n.br\n.B noonmark \\-\\-version\n")
	p.section("DESCRIPTION")
	p.detail(app.Help)
	p.section("COMMANDS")
	see := []string{}
	for _, n := range app.Children {
		if !n.Hidden {
			p.item(bold(n.Name), n.Help)
			see = append(see, "noonmark-"+n.Name+"(1)")
		}
	}
	p.section("FILES")
	for _, f := range files {
		p.item(italic(f.code), f.means)
	}
	p.section("EXIT STATUS")
	p.paragraph("0 for yes and for what was done, 1 for no and for what failed. 2 for what could not be understood, 3 for what cannot be told. The page of each command says more.")
	p.section("CAUTIONS")
	p.paragraph(caution)
	p.paragraph("On a 32-bit system the wall clock of the language (Go) ends in January 2038. Dates in the log are then wrong, and so are waits for an instant by the wall clock. Reading, judging and setting the kernel's clock use the 64-bit calls there, too, and go on. Choose a 64-bit system where there is a choice.")
	p.see(append(see, "noonmark.toml(5)", "noonmark-status(5)")...)
	return p.String()
}

// command is the page of one command.
func command(r Release, n *kong.Node) string {
	p := begin(r, "noonmark-"+n.Name, "1", lowered(n.Help))
	p.section("SYNOPSIS")
	p.WriteString(".B " + literal("noonmark "+n.Name) + "\n[\\fIflags\\fR]\n")
	for _, a := range n.Positional {
		p.WriteString(argument(a) + "\n")
	}
	p.section("DESCRIPTION")
	p.paragraph(n.Help)
	p.detail(n.Detail)
	if len(n.Positional) > 0 {
		p.section("ARGUMENTS")
		for _, a := range n.Positional {
			p.item(italic(a.Name), a.Help)
		}
	}
	p.section("FLAGS")
	for _, group := range n.AllFlags(true) {
		for _, f := range group {
			p.item(flag(f), f.Help)
		}
	}
	p.section("EXIT STATUS")
	for _, e := range codes.Table[n.Name] {
		p.item(bold(strconv.Itoa(e.Code)), e.Means)
	}
	p.item(bold(strconv.Itoa(codes.Misuse)), codes.Misunderstood)
	p.section("CAUTIONS")
	p.paragraph(caution)
	p.see("noonmark(1)", "noonmark.toml(5)", "noonmark-status(5)")
	return p.String()
}

// lowered begins a line of NAME, which is no sentence.
func lowered(s string) string {
	if len(s) > 1 && s[1] >= 'a' && s[1] <= 'z' {
		return strings.ToLower(s[:1]) + s[1:]
	}
	return s
}

func argument(a *kong.Positional) string {
	s := italic(a.Name)
	if a.IsCumulative() {
		s += " ..."
	}
	if !a.Required {
		s = "[" + s + "]"
	}
	return s
}

func flag(f *kong.Flag) string {
	name := "--" + f.Name
	if f.Tag.Negatable != "" {
		name = "--[no-]" + f.Name
	}
	s := bold(name)
	if f.Short != 0 {
		s = bold("-"+string(f.Short)) + ", " + s
	}
	if !f.IsBool() {
		s += "=" + italic(f.FormatPlaceHolder())
	}
	return s
}

// detail writes a help text: paragraphs, and lines set off by blanks as they are.
func (p *page) detail(text string) {
	for _, part := range strings.Split(text, "\n\n") {
		lines := strings.Split(strings.Trim(part, "\n"), "\n")
		var said, typed []string
		for _, l := range lines {
			if strings.HasPrefix(l, "  ") {
				typed = append(typed, strings.TrimSpace(l))
			} else {
				said = append(said, l)
			}
		}
		if len(said) > 0 && strings.TrimSpace(part) != "" {
			p.paragraph(strings.Join(said, " "))
		}
		if len(typed) > 0 {
			p.code(typed)
		}
	}
}
