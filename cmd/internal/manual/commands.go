package manual

import (
	"strings"

	"github.com/alecthomas/kong"
)

// caution stands on the pages of everything that tells a time or a place.
const caution = "Times are for radio operating; no traceability to UTC is claimed. Not for navigation. " +
	"In distress, send your coordinates, not only the locator. Transmit only within your licence, and stay at the controls."

// An exit is what a command's exit status means.
type exit struct{ code, means string }

const misunderstood = "The command line or the settings could not be understood; what is wrong is on standard error."

// exits are those of each command besides 2, which is the same for all.
var exits = map[string][]exit{
	"run":        {{"0", "It was told to end."}, {"1", "It could not begin or could not go on; the reason is on standard error."}},
	"demo":       {{"0", "It was played to its end."}, {"1", "It could not be played."}},
	"replay":     {{"0", "All was read."}, {"1", "A file could not be read."}},
	"ready":      {{"0", "The clock is within the tolerance of every mode asked for."}, {"1", "It is not: do not key up."}, {"3", "It cannot be told: no fresh status is there."}},
	"grid":       {{"0", "The place was told."}, {"1", "A file could not be read."}, {"3", "There is no fix."}},
	"path":       {{"0", "All was answered."}, {"1", "Some lines of the list were no places; the others were answered."}, {"3", "There is no fix to go from."}},
	"why":        {{"0", "It was explained."}, {"3", "No fresh status is there."}},
	"screen":     {{"0", "It was ended."}, {"1", "The terminal could not be used."}},
	"mark":       {{"0", "The clock was compared, and the service was told unless that was not wanted."}, {"1", "Too few taps, or they do not fit together, or the service took nothing."}},
	"hear":       {{"0", "A crowd or a time signal was heard."}, {"1", "Nothing was heard that tells the time; the reason is told."}},
	"follow":     {{"0", "It was told to end, or nothing is configured."}, {"1", "It could not begin; the reason is on standard error."}},
	"until":      {{"0", "What was asked for is so."}, {"1", "The limit is up."}},
	"report":     {{"0", "The report was printed."}, {"1", "The template could not be read or filled in."}, {"3", "There is nothing to report: no fix, or no fresh status."}},
	"preflight":  {{"0", "Nothing is in the way."}, {"1", "Something is; its remedy is told."}},
	"resume":     {{"0", "The service sets the clock again."}, {"1", "There is nothing to take back, or no service is running; the reason is told."}},
	"pin":        {{"0", "The number was told."}, {"1", "It could not be read."}},
	"ports":      {{"0", "They were listed."}, {"1", "They could not be listed or listened to."}},
	"version":    {{"0", "It was told."}},
	"completion": {{"0", "It was printed."}},
}

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
	p.paragraph("0 for yes and for what was done, 1 for no and for what failed, 2 for what could not be understood, 3 for what cannot be told; the page of each command says more.")
	p.section("CAUTIONS")
	p.paragraph(caution)
	p.paragraph("On a 32-bit system the language that noonmark is written in ends its own wall clock in January 2038: dates in the log are then wrong, and waits for an instant by the wall clock. Reading, judging and setting the kernel's clock use the 64-bit calls there, too, and go on. Choose a 64-bit system where there is a choice.")
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
	for _, e := range append(exits[n.Name], exit{"2", misunderstood}) {
		p.item(bold(e.code), e.means)
	}
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
